import com.fasterxml.jackson.core.JsonGenerator;
import com.fasterxml.jackson.databind.JsonSerializer;
import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.SerializerProvider;
import com.fasterxml.jackson.databind.module.SimpleModule;
import java.io.File;
import java.io.IOException;
import java.nio.file.Files;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import org.openapitools.client.ApiClient;
import org.openapitools.client.ApiException;
import org.openapitools.client.api.BookApi;
import org.openapitools.client.api.QuestionsApi;
import org.openapitools.client.api.SealsApi;
import org.openapitools.client.model.Artwork;
import org.openapitools.client.model.BookShoe;
import org.openapitools.client.model.Fault;
import org.openapitools.client.model.Order;
import org.openapitools.client.model.Placement;
import org.openapitools.client.model.Problem;
import org.openapitools.client.model.QuoteAnswer;
import org.openapitools.client.model.Reason;
import org.openapitools.client.model.SealCheck;
import org.openapitools.client.model.SealCheckRequest;
import org.openapitools.client.model.Shoe;
import org.openapitools.client.model.Size;
import org.openapitools.client.model.TextArtwork;

/** Asks a running service through the generated client and prints what it read: {@code Checkout URL LINES}. */
public final class Checkout {
  private static Order order(
      String shoe, String size, String panel, String colour, String text, String font, String height) {
    TextArtwork artwork = new TextArtwork().kind(TextArtwork.KindEnum.TEXT).text(text).font(font).height(height);
    BookShoe worn =
        new BookShoe()
            .kind(BookShoe.KindEnum.BOOK)
            .shoe(shoe)
            .size(new Size().system(Size.SystemEnum.EU).value(size));
    Placement placement =
        new Placement().panel(panel).film("smooth").colour(colour).artwork(new Artwork(artwork));
    return new Order().shoe(new Shoe(worn)).placements(List.of(placement));
  }

  /** Sends a file as it is: the generator's library for Java's own HTTP client would send its name. */
  private static final class Lines extends JsonSerializer<File> {
    @Override
    public void serialize(File file, JsonGenerator writer, SerializerProvider provider) throws IOException {
      writer.writeRaw(Files.readString(file.toPath()));
    }
  }

  public static void main(String[] arguments) throws Exception {
    ApiClient client = new ApiClient();
    client.updateBaseUri(arguments[0]);
    client.setObjectMapper(
        ApiClient.createDefaultObjectMapper()
            .registerModule(new SimpleModule().addSerializer(File.class, new Lines())));
    QuestionsApi questions = new QuestionsApi(client);
    Map<String, Object> read = new TreeMap<>();

    Order deck = order("regatta-deck", "42", "outer-quarter", "gorse", "MARLOW\n7", "plain", "22 mm").reference("K-2041");
    QuoteAnswer quote = questions.composeQuote(deck, null);
    read.put("verdict", quote.getVerdict().getValue());
    read.put("price", quote.getPrice().getTotal().getAmount() + " " + quote.getPrice().getTotal().getCurrency());

    QuoteAnswer clog =
        questions.composeQuote(order("ward-clog", "40", "outer-side", "chalk", "W3", "bold", "12 mm"), null);
    read.put(
        "declined", List.of(clog.getVerdict().getValue(), clog.getReasons().stream().map(Reason::getCode).toList()));

    try {
      questions.composeQuote(deck.press("mangle"), null);
    } catch (ApiException refused) {
      Problem problem = client.getObjectMapper().readValue(refused.getResponseBody(), Problem.class);
      read.put("refused", problem.getErrors().stream().map(Fault::getPointer).toList());
    }

    SealCheck check = new SealsApi(client).checkSeal(new SealCheckRequest().seal(quote.getSeal().getText()));
    Artwork placed = check.getQuote().getOrder().getPlacements().get(0).getArtwork();
    read.put(
        "seal",
        List.of(check.getStatus().getValue(), check.getQuote().getReference(), placed.getTextArtwork().getText()));

    read.put("film", new BookApi(client).readFilm("smooth", null).getRecord().getName());

    File answered = questions.answerBulk(new File(arguments[1]));
    read.put("lines", Files.readAllLines(answered.toPath()).size());

    System.out.println(new ObjectMapper().writeValueAsString(read));
  }
}
