"""A list of patients from another program: upload, columns, check with its progress, what would happen, write."""

from contextlib import suppress
from itertools import islice
from time import monotonic
from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseRedirect,
    StreamingHttpResponse,
)
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clinic.forms.imports import ImportColumnsForm, ImportFileForm
from clinic.models import ImportLine, PatientImport
from clinic.rules.csv_form import Column, UnreadableFileError
from clinic.rules.import_match import LineState
from clinic.services.exports import patients_export, refused_export
from clinic.services.import_file import MOST_BYTES, records
from clinic.services.import_writing import import_write, seconds_others_wait
from clinic.services.imports import ImportRefused, import_begin, import_check, import_choose, import_drop
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.posting import number_in

SLICE_S = 1.5  # a slice of the check answers well before any proxy or person gives up
CHUNKS = 10_000  # the time ends a slice
SAMPLE = 5
ROWS = 50
TONES = {
    LineState.NEW: ("new", "dot", "info"),
    LineState.CHANGED: ("changed", "arrow", "info"),
    LineState.SAME: ("as stored", "check", "good"),
    LineState.DOUBTFUL: ("doubtful", "question", "care"),
    LineState.REFUSED: ("cannot be read", "stop", "stop"),
}
ORDER = (LineState.REFUSED, LineState.DOUBTFUL, LineState.CHANGED, LineState.NEW, LineState.SAME)


@for_roles(*STAFF)
@require_http_methods(["GET", "HEAD", "POST"])
def begin(request: HttpRequest) -> HttpResponse:
    """Choose a file; lists that were begun and neither written nor dropped are offered again."""
    posted = request.method == "POST"
    form = ImportFileForm(request.POST, request.FILES) if posted else ImportFileForm()
    if posted and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            if file.size > MOST_BYTES:
                raise ImportRefused(
                    f"This file is larger than {MOST_BYTES // 1024**2} MB. Divide it into several files."
                )
            of = import_begin(
                actor=actor_of(request), now=timezone.now(), file_name=file.name, pieces=file.chunks(512 * 1024)
            )
            return HttpResponseRedirect(reverse("import_page", args=[of.pk]))
        except ImportRefused as refused:
            form.add_error("file", str(refused))
    lists = PatientImport.objects.select_related("by").order_by("-id")[:ROWS]
    status = 422 if form.errors else 200
    return render(request, "clinic/import_begin.html", {"form": form, "lists": lists}, status=status)


@for_roles(*STAFF)
@require_GET
def page(request: HttpRequest, pk: int) -> HttpResponse:
    """The step at which a list stands."""
    return _page(request, _of(pk))


@for_roles(*STAFF)
@require_POST
def choose(request: HttpRequest, pk: int) -> HttpResponse:
    """Settle how the file is read, and begin the check."""
    of = _of(pk)
    form = ImportColumnsForm(request.POST, of=of)
    if form.is_valid():
        try:
            import_choose(
                actor=actor_of(request),
                now=timezone.now(),
                of=of,
                codec=form.cleaned_data["codec"],
                delimiter=form.cleaned_data["delimiter"],
                mapping=form.mapping(),
                order=form.order_chosen(),
            )
            return HttpResponseRedirect(reverse("import_page", args=[pk]))
        except ImportRefused as refused:
            form.add_error(None, str(refused))
    return _page(request, of, form=form, status=422)


@for_roles(*STAFF)
@require_POST
def check(request: HttpRequest, pk: int) -> HttpResponse:
    """Check lines for about SLICE_S; the page asks again until all are checked."""
    of, until = _of(pk), monotonic() + SLICE_S
    try:
        if of.state == PatientImport.State.CHECKING:
            of = import_check(of=of, today=timezone.localdate(), chunks=CHUNKS, enough=lambda: monotonic() >= until)
    except ImportRefused as refused:
        messages.error(request, str(refused))
        return _go_on(request, of)
    if of.state == PatientImport.State.CHECKING and request.headers.get("HX-Request"):
        return render(request, "clinic/_import_progress.html", {"of": of, "goes_on": True})
    return _go_on(request, of)


@for_roles(*STAFF)
@require_POST
def write(request: HttpRequest, pk: int) -> HttpResponse:
    """Write what is new or changed; a second tap finds it written."""
    try:
        of = import_write(actor=actor_of(request), now=timezone.now(), of=_of(pk))
        counts = of.counts
        messages.success(request, f"Written: {counts['new']} new, {counts['changed']} changed.")
    except ImportRefused as refused:
        messages.error(request, str(refused))
    return HttpResponseRedirect(reverse("import_page", args=[pk]))


@for_roles(*STAFF)
@require_POST
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Forget a list and its lines."""
    import_drop(actor=actor_of(request), now=timezone.now(), of=_of(pk))
    messages.success(request, "The list and its lines are forgotten. Patients that were written from it stay.")
    return HttpResponseRedirect(reverse("import_begin"))


@for_roles(*STAFF)
@require_GET
def refused(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The lines that were left out, as a file in the same columns."""
    return _file(refused_export(_of(pk)), "left-out.csv")


@for_roles("manager")
@require_POST
def export(request: HttpRequest) -> HttpResponseBase:
    """Every patient as a file."""
    lines = patients_export(actor=actor_of(request), now=timezone.now(), clinic=clinic_of(request))
    return _file(lines, "patients.csv")


def _of(pk: int) -> PatientImport:
    return get_object_or_404(PatientImport.objects.select_related("by"), pk=pk)


def _go_on(request: HttpRequest, of: PatientImport) -> HttpResponse:
    address = reverse("import_page", args=[of.pk])
    if request.headers.get("HX-Request"):
        return HttpResponse(status=204, headers={"HX-Redirect": address})
    return HttpResponseRedirect(address)


def _page(
    request: HttpRequest, of: PatientImport, form: ImportColumnsForm | None = None, status: int = 200
) -> HttpResponse:
    context: dict[str, Any] = {"of": of, "goes_on": False}
    if form is not None or of.state == PatientImport.State.UPLOADED or "columns" in request.GET:
        if of.state == PatientImport.State.WRITTEN:
            raise Http404
        context |= {"form": form or ImportColumnsForm(of=of), "sample": _sample(of)}
        return render(request, "clinic/import_columns.html", context, status=status)
    if of.state == PatientImport.State.CHECKING:
        return render(request, "clinic/import_checking.html", context)
    return render(request, "clinic/import_checked.html", context | _checked(request, of))


def _sample(of: PatientImport) -> list[list[str]]:
    """The first lines as they are read now, as far as they can be."""
    found: list[list[str]] = []
    with suppress(UnreadableFileError):
        found.extend(record.cells for record in islice(records(of), SAMPLE))
    return found


def _checked(request: HttpRequest, of: PatientImport) -> dict[str, Any]:
    present = [state for state in ORDER if of.counts.get(state)]
    wanted = request.GET.get("state", "")
    state = wanted if wanted in present else (present[0] if present else "")
    number = max(number_in(request, "page") or 1, 1)
    rows = _rows(of, state)[(number - 1) * ROWS : number * ROWS + 1] if number < 10_000 else []
    lines = list(rows)
    writes = of.counts.get(LineState.NEW, 0) + of.counts.get(LineState.CHANGED, 0)
    return {
        "tabs": [(one, of.counts[one], *TONES[one]) for one in present],
        "state": state,
        "rows": [_shown(line, of.mapping) for line in lines[:ROWS]],
        "page": number,
        "more": len(lines) > ROWS,
        "writes": writes,
        "others_wait": seconds_others_wait(writes),
        "left_out": of.counts.get(LineState.REFUSED, 0) + of.counts.get(LineState.DOUBTFUL, 0),
    }


def _shown(line: ImportLine, mapping: dict[str, int]) -> dict[str, Any]:
    """One line as it stands on the page: what was read, and what the cell says where it could not be read."""
    cells = {word: line.cells[place] for word, place in mapping.items() if place < len(line.cells)}
    apart = " ".join(filter(None, (cells.get(Column.GIVEN), cells.get(Column.FAMILY))))
    return {
        "line": line.line,
        "reason": line.reason,
        "name": line.values.get("full_name") or cells.get(Column.NAME) or apart,
        **{word: line.values.get(word) or cells.get(word, "") for word in (Column.BORN, Column.PHONE, Column.EMAIL)},
    }


def _rows(of: PatientImport, state: str) -> QuerySet[ImportLine]:
    return ImportLine.objects.filter(of=of, state=state).order_by("line")


def _file(lines: Any, name: str) -> HttpResponseBase:
    answer = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    answer.headers["Cache-Control"] = "no-store"
    return answer
