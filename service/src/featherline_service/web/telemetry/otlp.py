"""Spans of requests, exported by OTLP where the environment's OTEL_ variables ask for it.

Spans have the names and attributes of OpenTelemetry's semantic conventions for HTTP servers, but for `url.path`: like
the log, they hold nothing that callers sent. Where spans go, how many are kept and what the service is called, the
variables say (OpenTelemetry's specification of them); the library reads them itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

from featherline_service.runtime.engine import ENGINE
from featherline_service.web.http.context import ComputedFor
from featherline_service.web.telemetry.metrics import method_label, scheme_label
from featherline_service.web.telemetry.trace_context import Parent, Span

if TYPE_CHECKING:
    from opentelemetry.sdk.trace import TracerProvider

_ENDPOINTS: Final = ("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT", "OTEL_EXPORTER_OTLP_ENDPOINT")
_PROTOCOLS: Final = ("OTEL_EXPORTER_OTLP_TRACES_PROTOCOL", "OTEL_EXPORTER_OTLP_PROTOCOL")
_EXPORTER: Final = "OTEL_TRACES_EXPORTER"
_SENT_WITH: Final = "http/protobuf"
_FAILED: Final = 500


class TracingError(ValueError):
    """The environment asks for an export of spans that is not supported; the message says what to do."""


class _OtlpSpan(Span, frozen=True):
    """A span that is exported when it has ended."""

    exported: Any

    def end(
        self, method: str, scheme: str, route: str | None, status: int, computed: ComputedFor | None = None
    ) -> None:
        """End the span with the request's outcome and export it; the status is 0 where there was no answer."""
        from opentelemetry.trace import StatusCode  # noqa: PLC0415 - an extra

        known = method_label(method)
        name = "HTTP" if known != method else known
        self.exported.update_name(name if route is None else f"{name} {route}")
        self.exported.set_attribute("http.request.method", known)
        self.exported.set_attribute("url.scheme", scheme_label(scheme))
        if route is not None:
            self.exported.set_attribute("http.route", route)
        if status:
            self.exported.set_attribute("http.response.status_code", status)
        if computed is not None:
            self.exported.set_attribute("featherline.caller.class", computed.class_)
            self.exported.set_attribute("featherline.queue.duration", computed.waited_s)
            self.exported.set_attribute("featherline.computing.duration", computed.took_s)
        if not status or status >= _FAILED:
            self.exported.set_attribute("error.type", str(status or "_OTHER"))
            self.exported.set_status(StatusCode.ERROR)
        self.exported.end()


class OtlpTracing:
    """Makes a span of each request, and exports it."""

    def __init__(self, provider: TracerProvider) -> None:
        self._provider = provider
        self._tracer = provider.get_tracer("featherline_service", ENGINE)

    def start_span(self, parent: Parent | None) -> Span:
        """Return a span of the caller's trace, or the first of a new one."""
        from opentelemetry import context, trace  # noqa: PLC0415 - an extra

        within = context.Context()
        if parent is not None:
            caller = trace.SpanContext(
                int(parent.trace_id, 16),
                int(parent.span_id, 16),
                is_remote=True,
                trace_flags=trace.TraceFlags(parent.flags & trace.TraceFlags.SAMPLED),
                trace_state=trace.TraceState.from_header(list(parent.state)),
            )
            within = trace.set_span_in_context(trace.NonRecordingSpan(caller), within)
        span = self._tracer.start_span("HTTP", within, trace.SpanKind.SERVER)
        ids = span.get_span_context()
        return _OtlpSpan(f"{ids.trace_id:032x}", f"{ids.span_id:016x}", span)

    def close(self) -> None:
        """Export the spans that are still held."""
        self._provider.shutdown()


def requesting_variable(environment: Mapping[str, str]) -> str | None:
    """Return the variable of an environment that asks for spans to be exported; None where none does.

    Raises:
        TracingError: It asks for an exporter or a protocol that is not supported.
    """
    variables = {name: value.strip() for name, value in environment.items() if value.strip()}
    exporter = variables.get(_EXPORTER, "otlp")
    endpoint = next((name for name in _ENDPOINTS if name in variables), None)
    asking = endpoint or (_EXPORTER if _EXPORTER in variables else None)
    if asking is None or exporter == "none" or variables.get("OTEL_SDK_DISABLED", "").lower() == "true":
        return None
    if exporter != "otlp":
        raise TracingError(f"{_EXPORTER} is {exporter!r}; spans are sent by 'otlp', or by nothing: 'none'")
    protocol = next((name for name in _PROTOCOLS if name in variables), None)
    if protocol is not None and variables[protocol] != _SENT_WITH:
        raise TracingError(f"{protocol} is {variables[protocol]!r}; spans are sent with {_SENT_WITH!r} alone")
    return asking


def from_environment(environment: Mapping[str, str]) -> Callable[[], OtlpTracing] | None:
    """Return what begins the exporting of spans that an environment asks for; None where it does not.

    It starts a thread, so it is called when this process forks no more.

    Raises:
        TracingError: It asks for what is not supported or not installed; the message says what to do.
    """
    asking = requesting_variable(environment)
    if asking is None:
        return None
    try:
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter  # noqa: PLC0415 - an extra
        from opentelemetry.sdk.resources import Resource  # noqa: PLC0415
        from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415
        from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415
    except ImportError:
        raise TracingError(
            f"{asking} asks for spans to be sent, and what sends them is not installed. Install "
            "featherline-service[otlp], or unset it"
        ) from None
    # A name that the environment gives counts before ours.
    named = {} if "OTEL_SERVICE_NAME" in environment else {"service.name": "featherline"}

    def begin() -> OtlpTracing:
        resource = Resource.create({**named, "service.version": ENGINE})
        provider = TracerProvider(resource=resource, shutdown_on_exit=False)
        provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
        return OtlpTracing(provider)

    return begin
