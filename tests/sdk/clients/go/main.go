// Asks a running service through the generated client and prints what it read: `checkout URL LINES DESCRIPTION`.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"featherline"
	"fmt"
	"io"
	"os"
	"regexp"
	"strings"
)

func must(err error) {
	if err != nil {
		var problem *featherline.GenericOpenAPIError
		if errors.As(err, &problem) {
			fmt.Fprintln(os.Stderr, string(problem.Body()))
		}
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func order(shoe string, size string, panel string, colour string, text string, font string, height string) featherline.Order {
	artwork := featherline.NewTextArtwork("text", text, font)
	artwork.SetHeight(height)
	placement := featherline.NewPlacement(panel, "smooth", colour, featherline.TextArtworkAsArtwork(artwork))
	worn := featherline.NewBookShoe("book", shoe, *featherline.NewSize("EU", size))
	return *featherline.NewOrder(featherline.BookShoeAsShoe(worn), []featherline.Placement{*placement})
}

// unreadable returns the patterns of a description that Go's regular expressions do not know.
func unreadable(part any) []string {
	patterns := []string{}
	switch value := part.(type) {
	case map[string]any:
		if pattern, is := value["pattern"].(string); is {
			if _, err := regexp.Compile(pattern); err != nil {
				patterns = append(patterns, pattern)
			}
		}
		for _, inner := range value {
			patterns = append(patterns, unreadable(inner)...)
		}
	case []any:
		for _, inner := range value {
			patterns = append(patterns, unreadable(inner)...)
		}
	}
	return patterns
}

func main() {
	configuration := featherline.NewConfiguration()
	configuration.Servers = featherline.ServerConfigurations{{URL: os.Args[1]}}
	client := featherline.NewAPIClient(configuration)
	ctx := context.Background()
	read := map[string]any{}

	deck := order("regatta-deck", "42", "outer-quarter", "gorse", "MARLOW\n7", "plain", "22 mm")
	deck.SetReference("K-2041")
	quote, _, err := client.QuestionsAPI.ComposeQuote(ctx).Order(deck).Execute()
	must(err)
	read["verdict"] = quote.GetVerdict()
	price := quote.GetPrice()
	read["price"] = price.Total.Amount + " " + price.Total.Currency

	clog := order("ward-clog", "40", "outer-side", "chalk", "W3", "bold", "12 mm")
	declined, _, err := client.QuestionsAPI.ComposeQuote(ctx).Order(clog).Execute()
	must(err)
	codes := []string{}
	for _, reason := range declined.GetReasons() {
		codes = append(codes, reason.GetCode())
	}
	read["declined"] = []any{declined.GetVerdict(), codes}

	deck.SetPress("mangle")
	_, _, err = client.QuestionsAPI.ComposeQuote(ctx).Order(deck).Execute()
	var refused *featherline.GenericOpenAPIError
	if !errors.As(err, &refused) {
		must(fmt.Errorf("no problem: %v", err))
	}
	problem := refused.Model().(featherline.Problem)
	pointers := []string{}
	for _, fault := range problem.GetErrors() {
		pointers = append(pointers, fault.GetPointer())
	}
	read["refused"] = pointers

	seal := quote.GetSeal()
	check, _, err := client.SealsAPI.CheckSeal(ctx).SealCheckRequest(*featherline.NewSealCheckRequest(seal.GetText())).Execute()
	must(err)
	sealed := check.GetQuote()
	ordered := sealed.GetOrder()
	placed := ordered.Placements[0].Artwork
	read["seal"] = []string{check.GetStatus(), sealed.GetReference(), placed.TextArtwork.GetText()}

	film, _, err := client.BookAPI.ReadFilm(ctx, "smooth").Execute()
	must(err)
	read["film"] = film.Record.GetName()

	lines, err := os.Open(os.Args[2])
	must(err)
	answered, _, err := client.QuestionsAPI.AnswerBulk(ctx).Body(lines).Execute()
	must(err)
	content, err := io.ReadAll(answered)
	must(err)
	read["lines"] = strings.Count(string(content), "\n")

	described, err := os.ReadFile(os.Args[3])
	must(err)
	var description any
	must(json.Unmarshal(described, &description))
	if patterns := unreadable(description); len(patterns) > 0 {
		must(fmt.Errorf("patterns that Go cannot read: %q", patterns))
	}

	text, err := json.Marshal(read)
	must(err)
	fmt.Println(string(text))
}
