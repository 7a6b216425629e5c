"""A list from its upload to the last line: what is read, what is left out, and that twice is as good as once."""

import random
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection
from django.db.models import QuerySet
from django.test.utils import CaptureQueriesContext

from clinic.models import Clinic, Event, ImportLine, ImportPart, Patient, PatientImport
from clinic.rules.ages import DateOrder
from clinic.rules.csv_form import Column
from clinic.services import import_file, imports
from clinic.services.events import Actor
from clinic.services.exports import patients_export, refused_export
from clinic.services.import_writing import import_write
from clinic.services.imports import ImportRefused, import_begin, import_check, import_choose, import_drop
from tests.factories.clinic import PatientFactory

pytestmark = pytest.mark.django_db
ACTOR = Actor(word="test")
HEAD = "name,born,phone,email,external_id,note\n"


def states(of: PatientImport) -> list[tuple[int, str]]:
    return list(of.judged.values_list("line", "state"))


def written(of: PatientImport, now: datetime) -> PatientImport:
    return import_write(actor=ACTOR, now=now, of=of)


def test_three_lines_and_the_same_file_again(checked: Callable[..., PatientImport], now: datetime) -> None:
    text = HEAD + "Ana Reis,1985-03-04,212 555 0123,ana@example.org,1,x\nBo Lund,,,,2,\nCy Ng,2001-07-09,,,3,\n"
    first = written(checked(text), now)
    assert first.counts == {"new": 3, "same": 0, "changed": 0, "doubtful": 0, "refused": 0}
    again = written(checked(text), now)
    assert again.counts == {"new": 0, "same": 3, "changed": 0, "doubtful": 0, "refused": 0}
    assert Patient.objects.count() == 3


def test_what_is_written_is_what_the_line_says(checked: Callable[..., PatientImport], now: datetime) -> None:
    written(checked(HEAD + '"Reis, Ana",1985-03-04,(212) 555-0123,ana@example.org,A-7,"two\nlines"\n'), now)
    patient = Patient.objects.get()
    stored = (patient.full_name, patient.born, patient.phone, patient.email, patient.external_id, patient.note)
    assert stored == ("Reis, Ana", date(1985, 3, 4), "+12125550123", "ana@example.org", "A-7", "two\nlines")
    assert (patient.consents, patient.consent_at, patient.search_text) == (False, None, "reis, ana")


def test_nothing_is_written_by_looking_and_checking(checked: Callable[..., PatientImport]) -> None:
    checked(HEAD + "Ana Reis,1985-03-04,,,,\n")
    assert not Patient.objects.exists()


def test_identical_lines_make_one_patient_and_twins_make_two(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    twin = "1985-03-04,2125550123,,,\n"
    of = checked(HEAD + f"Ana Reis,{twin}Ana Reis,{twin}Eva Reis,{twin}Ana Reis,1985-03-04,2125550199,,,\n")
    assert states(of) == [(2, "new"), (3, "same"), (4, "new"), (5, "doubtful")]
    assert of.judged.get(line=3).reason == "Line 2 says the same."
    written(of, now)
    assert sorted(Patient.objects.values_list("full_name", flat=True)) == ["Ana Reis", "Eva Reis"]


def test_lines_above_are_found_in_earlier_slices(
    checked: Callable[..., PatientImport], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imports, "CHUNK", 2)
    of = checked(
        HEAD + "A One,1985-03-04,,,1,\nB Two,,,,2,\nA One,1985-03-04,,,1,\nB Two,1990-01-02,,,,\nC Three,,,,2,\n"
    )
    assert states(of) == [(2, "new"), (3, "new"), (4, "same"), (5, "doubtful"), (6, "doubtful")]


def test_an_empty_cell_blanks_nothing_and_consent_is_untouched(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    ana = PatientFactory(full_name="Ana Reis", note="likes cats", consents=True)
    before = ana.plan_version
    of = written(checked(HEAD + f"Ana Reis,{ana.born},212 555 0199,,77,\n"), now)
    ana.refresh_from_db()
    assert (of.counts["changed"], ana.phone, ana.external_id, ana.note) == (1, "+12125550199", "77", "likes cats")
    assert (ana.consents, ana.email != "", ana.version, ana.plan_version) == (True, True, 2, before + 1)


def test_the_decomposed_form_of_a_name_finds_the_composed(checked: Callable[..., PatientImport]) -> None:
    PatientFactory(full_name="Zo\u00eb Bront\u00eb", born=date(1985, 4, 3))
    of = checked(HEAD + "Zoe\u0308 Bronte\u0308,1985-04-03,,,,\n")
    assert states(of) == [(2, "same")]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (",1985-03-04,,,,", "a name is needed"),
        ("Ana\x00Reis,,,,,", "null character"),
        ("Ana Reis,36585,,,,", "count of days"),
        ("Ana Reis,03/04/45,,,,", "four digits"),
        ("Ana Reis,2099-01-01,,,,", "is not between"),
        ("Ana Reis,,4.474E+11,,,", "rounded by a spreadsheet"),
        ("Ana Reis,,4.47400123456E+11,,,", "rounded by a spreadsheet"),
        ("Ana Reis,,call mum,,,", "no letters"),
        ("Ana Reis,,212 555 0123 ext 4,,,", "only a direct number"),
        ("Ana Reis,,,ana.example.org,,", "is no address"),
        ("Ana Reis,,,info@faß.example,,", "could reach a stranger"),
        ("Ana Reis,,,a\u200bna@example.org,,", "cannot be seen"),
        ("Ana Reis,,,,,,,more", "It has 8 columns, and the heading 6"),
        (f"Ana Reis,,,,,{'x' * 2001}", "2001 characters are too long"),
        (f"Ana Reis,,,,{'7' * 81},", "characters are too long"),
    ],
)
def test_a_line_that_cannot_be_used_is_refused_with_its_reason(
    checked: Callable[..., PatientImport], line: str, words: str
) -> None:
    of = checked(HEAD + "Bo Lund,1990-01-02,,,,\n" + line + "\n")
    assert states(of) == [(2, "new"), (3, "refused")]
    assert words in of.judged.get(line=3).reason


def test_a_rounded_number_is_never_spelt_out(checked: Callable[..., PatientImport], now: datetime) -> None:
    written(checked(HEAD + "Ana Reis,,4.474E+11,,,\nBo Lund,,447400000000,,,\n"), now)
    assert not Patient.objects.exists()


def test_letters_of_a_guessed_encoding_are_looked_at_by_somebody(checked: Callable[..., PatientImport]) -> None:
    data = HEAD.encode() + b"O\x92Neil,1985-03-04,,,,\nBo Lund,,,,,\n"
    assert states(checked(data)) == [(2, "doubtful"), (3, "new")]
    of = checked(data, codec="cp1252")
    assert (states(of), of.judged.get(line=2).values["full_name"]) == ([(2, "new"), (3, "new")], "O’Neil")


@pytest.mark.parametrize("codec", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_every_kind_of_unicode_file_is_read(checked: Callable[..., PatientImport], codec: str) -> None:
    text = "name\tdob\nO\u2019Neil\t1985-03-04\n\u017b\u00f3\u0142\u0107 \u9648\t\n"
    of = checked(text.encode(codec))
    assert [line.values["full_name"] for line in of.judged.all()] == ["O’Neil", "Żółć 陈"]


def test_letters_of_central_europe_are_right_once_their_encoding_is_said(checked: Callable[..., PatientImport]) -> None:
    of = checked((HEAD + "Żółć Łukasz,1985-03-04,,,,\n").encode("cp1250"), codec="cp1250")
    assert (states(of), of.judged.get().values["full_name"]) == ([(2, "new")], "Żółć Łukasz")


def test_spaces_that_are_none_make_nobody_twice(checked: Callable[..., PatientImport], now: datetime) -> None:
    names = ("Ana Reis", "Ana\u00a0Reis", "Ana Reis\u200b ", " Ana  Reis")
    of = written(checked(HEAD + "".join(f"{name},1985-03-04,,,,\n" for name in names)), now)
    assert states(of) == [(2, "new"), (3, "same"), (4, "same"), (5, "same")]
    assert [one.full_name for one in Patient.objects.all()] == ["Ana Reis"]


def test_bytes_that_the_encoding_does_not_have_refuse_their_line(checked: Callable[..., PatientImport]) -> None:
    of = checked(HEAD.encode() + b"Ana\x81 Reis,,,,,\nBo Lund,,,,,\n", codec="cp1252")
    assert states(of) == [(2, "refused"), (3, "new")]


def test_semicolons_are_found_where_a_cell_is_full_of_commas(checked: Callable[..., PatientImport]) -> None:
    text = (
        "name;dob;areas;marks;note\nAna Reis;1985-03-04;['knee'];['L'];ok\n"
        "Bo Lund;1990-12-31;['hip', 'calf'];['L', 'R'];ok\nCy Ng;2001-07-09;['neck'];['L'];ok\n"
    )
    of = checked(text)
    assert [line.values["full_name"] for line in of.judged.all()] == ["Ana Reis", "Bo Lund", "Cy Ng"]


def test_dates_that_read_two_ways_wait_for_the_order(checked: Callable[..., PatientImport], now: datetime) -> None:
    text = HEAD + "Ana Reis,03/04/1985,,,,\n"
    assert states(checked(text)) == [(2, "doubtful")]
    of = checked(text, order=DateOrder.DMY)
    assert of.judged.get().values["born"] == "1985-04-03"
    of = checked(HEAD + "Ana Reis,03/04/1985,,,,\nBo Lund,13/04/1990,,,,\n")
    assert of.judged.get(line=2).values["born"] == "1985-04-03"


def test_the_columns_and_dates_of_a_file_are_remembered(clinic: Clinic, now: datetime) -> None:
    data = [b"who,when\nAna Reis,03/04/1985\n"]
    of = import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=data)
    assert of.mapping == {}
    import_choose(
        actor=ACTOR,
        now=now,
        of=of,
        codec="",
        delimiter=",",
        mapping={Column.NAME: 0, Column.BORN: 1},
        order=DateOrder.MDY,
    )
    again = import_begin(actor=ACTOR, now=now, file_name="b.csv", pieces=data)
    assert (again.mapping, again.date_order) == ({"name": 0, "born": 1}, "mdy")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "it is empty"),
        (b"\n\n", "it is empty"),
        (b"sep=,\n", "it is empty"),
        (b"x" * 20_000, "longer than any heading"),
        (random.Random(7).randbytes(5000), "signs that no text has"),
    ],
)
def test_a_file_that_is_no_list_is_refused(clinic: Clinic, now: datetime, data: bytes, words: str) -> None:
    with pytest.raises(ImportRefused, match=words):
        import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[data])
    assert not PatientImport.objects.exists()


def test_a_file_that_is_too_large_leaves_nothing(
    clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imports, "MOST_BYTES", 1000)
    with pytest.raises(ImportRefused, match="larger than"):
        import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[b"name\n", b"x" * 1000])
    assert not ImportPart.objects.exists()


def test_a_quotation_mark_that_is_never_closed_is_named(checked: Callable[..., PatientImport]) -> None:
    with pytest.raises(ImportRefused, match="line 2 cannot be read: a quotation mark"):
        checked(HEAD + '"Ana Reis,' + "x,\n" * 100_000)


@pytest.mark.parametrize(
    "text",
    [
        'Ana Reis,1985-03-04,,,1,\nBo Lund,1990-01-02,,,2,"a note that never',
        'Ana Reis,1985-03-04,,,1,\nBo Lund,1990-01-02,,,2,"swallows\nCy Ng,2001-07-09,,,3,\nDi,2002-07-09,,,4,\n',
    ],
)
def test_a_quotation_mark_left_open_swallows_nobody(checked: Callable[..., PatientImport], text: str) -> None:
    with pytest.raises(ImportRefused, match="line 3 opens a quotation mark that is never closed"):
        checked(HEAD + text)
    assert not ImportLine.objects.exists()


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_a_quotation_mark_closed_lines_later_swallows_nobody_unseen(
    checked: Callable[..., PatientImport], line_end: str
) -> None:
    lines = [
        HEAD.strip(),
        'Ana,1985-03-04,,,1,"see',
        'Bo,1990-01-02,,,2,"ok"',
        'Cy,2001-07-09,,,3,"two',
        'lines, here"',
        "",
    ]
    of = checked(line_end.join(lines))
    assert states(of) == [(2, "doubtful"), (4, "new")]
    assert (
        of.judged.get(line=2).reason
        == "It holds whole other lines: a quotation mark may be missing here, or one too many."
    )
    assert of.judged.get(line=4).values["note"] == "two\nlines, here"


def test_a_file_cut_off_in_the_middle_of_a_line_enters_nobody_by_half(checked: Callable[..., PatientImport]) -> None:
    of = checked(HEAD + "Ana Reis,1985-03-04,,,1,\nBo Lund,1990-01-02,,bo@example.or")
    assert states(of) == [(2, "new"), (3, "doubtful")]
    assert of.judged.get(line=3).reason == "The file ends in the middle of this line: it may have been cut off."


@pytest.mark.parametrize("last", ["Bo Lund,1990-01-02,,,2,ok", "Bo Lund,1990-01-02\n"])
def test_a_last_line_that_is_whole_is_read(checked: Callable[..., PatientImport], last: str) -> None:
    assert states(checked(HEAD + last)) == [(2, "new")]


@pytest.mark.parametrize("mark", ["sep=;\n", '"sep=;"\r\n', "\ufeffsep=;\n"])
def test_a_line_that_tells_a_spreadsheet_the_separator_is_no_heading(
    checked: Callable[..., PatientImport], mark: str
) -> None:
    of = checked(mark + "name;born\nAna Reis;1985-03-04\n")
    assert (of.headings, states(of)) == (["name", "born"], [(3, "new")])


def test_parts_put_together_are_the_file(clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "PART_BYTES", 7)
    text = HEAD + "Zoë Brontë,1985-03-04,,,,\n" * 3
    of = import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[text.encode()[:50], text.encode()[50:]])
    assert of.parts.count() > 10
    with import_file.text_of(of) as whole:
        assert whole.read() == text


def test_a_check_that_was_cut_off_goes_on_without_repeating(
    clinic: Clinic, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imports, "CHUNK", 2)
    of = import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[b"name\nA\nB\nC\nD\nE\n"])
    stale = import_choose(actor=ACTOR, now=now, of=of, codec="", delimiter=",", mapping=None, order=None)
    today = date(2027, 3, 10)
    assert (import_check(of=stale, today=today).done, import_check(of=stale, today=today).done) == (2, 2)
    current = PatientImport.objects.get()
    assert import_check(of=current, today=today, chunks=9).state == "checked"
    assert [line.values["full_name"] for line in ImportLine.objects.all()] == ["A", "B", "C", "D", "E"]


def test_a_second_tap_writes_nothing_and_an_unchecked_list_is_not_written(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    of = checked(HEAD + "Ana Reis,1985-03-04,,,,\n")
    assert written(of, now).counts == written(of, now).counts
    assert Patient.objects.count() == 1
    begun = import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[b"name\nBo Lund\n"])
    with pytest.raises(ImportRefused, match="not all been checked"):
        written(begun, now)


def test_somebody_entered_since_the_check_is_not_entered_twice(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    of = checked(HEAD + "Ana Reis,1985-03-04,,,,\nBo Lund,1990-01-02,,,,\n")
    PatientFactory(full_name="Ana Reis", born=date(1985, 3, 4))
    PatientFactory(full_name="Bo Lund", born=None)
    after = written(of, now)
    assert (Patient.objects.count(), states(after)) == (2, [(2, "same"), (3, "doubtful")])
    assert "since the check" in after.judged.get(line=3).reason


def test_all_lines_are_written_or_none(
    checked: Callable[..., PatientImport], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    of = checked(HEAD + "Ana Reis,,,,5,\nBo Lund,,,,6,\n")
    of.judged.filter(line=3).update(values={"full_name": "Bo Lund", "external_id": "5"})
    with pytest.raises(IntegrityError):
        written(of, now)
    of.refresh_from_db()
    assert (Patient.objects.count(), of.state) == (0, "checked")
    assert not Event.objects.filter(verb="patient.imported").exists()


def test_one_by_one_or_all_at_once_writes_the_same(
    checked: Callable[..., PatientImport], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The statement that writes everybody new, and the way of those like whom somebody is stored, make equal rows."""
    text = HEAD.replace("note", "note,call me") + (
        '"Zoë O\'Fen-Brontë",1985-03-04,(212) 555-0123,zoe@example.org,A-1,"two\nlines ""quoted""",Zoë\n'
        "Bo Lund,,,bo@example.org,,,\n"
        "Cy Ng,1990-02-28,,,,,\n"
        "陈 100%,,+44 7400 123456,chen@example.org,7,,\n"
    )
    at_once = (written(checked(text), now).counts["new"], *rows_made())
    monkeypatch.setattr("clinic.services.import_writing.new_lines_sure", lambda of: set())
    monkeypatch.setattr("clinic.services.import_writing.patients_new", lambda **call: 0)
    assert (written(checked(text), now).counts["new"], *rows_made()) == at_once
    assert at_once[0] == 4


def rows_made() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Who is stored, taken away again, and their events, without what differs each time."""
    patients: list[Any] = list(Patient.objects.order_by("id").values())
    events: list[Any] = list(imported().filter(patient__in=[row["id"] for row in patients]).order_by("id").values())
    assert [event["patient_id"] for event in events] == [patient["id"] for patient in patients]
    assert [event["subject_id"] for event in events] == [str(patient["id"]) for patient in patients]
    Patient.objects.all().delete()
    left_out = ("id", "created_at", "patient_id", "subject_id")
    for row in (*patients, *events):
        for name in left_out:
            row.pop(name, None)
    return patients, events


def imported() -> QuerySet[Event]:
    return Event.objects.filter(verb="patient.imported")


def test_a_list_of_new_people_is_written_in_few_statements(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    """However long it is: nobody else can write to SQLite meanwhile."""

    def statements(lines: int) -> int:
        text = "name,external_id\n" + "".join(f"Person {lines} {n},{lines}-{n}\n" for n in range(lines))
        of = checked(text)
        with CaptureQueriesContext(connection) as found:
            written(of, now)
        return len(found)

    assert statements(5) == statements(1200) <= 20


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL reads so few rows as they lie")
def test_the_lines_above_are_found_by_their_indexes_and_not_read_one_by_one(
    checked: Callable[..., PatientImport], clinic: Clinic, now: datetime
) -> None:
    text = "name,born,external_id\n" + "".join(f"Person {n},1985-03-04,{n}\n" for n in range(1100)) + "Somebody,,x\n"
    with CaptureQueriesContext(connection) as found:
        checked(text)
    asked = {query["sql"] for query in found if '"digest"' in query["sql"] and query["sql"].startswith("SELECT")}
    plans = set()
    with connection.cursor() as cursor:
        for sql in asked:
            cursor.execute(f"EXPLAIN QUERY PLAN {sql.replace('%', '%%')}")
            plans |= {str(row[-1]).partition("clinic_importline ")[2] for row in cursor.fetchall()}
    assert {plan for plan in plans if plan} == {
        f"USING INDEX import_line_{key} (of_id=? AND {key}_key=?)" for key in ("person", "name", "number")
    }


def test_ten_times_the_lines_take_the_same_queries_a_slice(
    checked: Callable[..., PatientImport], clinic: Clinic, now: datetime
) -> None:
    def queries(lines: int) -> int:
        text = "name,external_id\n" + "".join(f"Person {lines} {n},{lines}-{n}\n" for n in range(lines))
        of = import_begin(actor=ACTOR, now=now, file_name="a.csv", pieces=[text.encode()])
        of = import_choose(actor=ACTOR, now=now, of=of, codec="", delimiter=",", mapping=None, order=None)
        with CaptureQueriesContext(connection) as found:
            import_check(of=of, today=date(2027, 3, 10))
        return len([one for one in found if not one["sql"].startswith("INSERT")])

    assert queries(5) == queries(400)


def test_what_was_left_out_comes_back_in_its_own_columns(checked: Callable[..., PatientImport], now: datetime) -> None:
    of = written(checked("nr;Name;shoe;DOB\n1;Ana Reis;38;36585\n2;Bo Lund;44;1990-01-02\n3;=x;40;soon\n"), now)
    assert "".join(refused_export(of)) == "\ufeffnr;Name;shoe;DOB\r\n1;Ana Reis;38;36585\r\n3;'=x;40;soon\r\n"
    mended = "".join(refused_export(of)).replace("36585", "1985-03-04").replace("soon", "1999-01-01")
    assert checked(mended).counts["new"] == 2


def test_the_export_is_read_again_without_damage(
    checked: Callable[..., PatientImport], clinic: Clinic, now: datetime
) -> None:
    names = ["O'Neil", "D’Souza", "=cmd", "'=cmd", "陈", "<b>Al</b>", 'He said "x"', "van der Berg, Jr", "מרים כהן"]
    for number, name in enumerate(names):
        PatientFactory(full_name=name, note="line one\nline; two", external_id=f"00{number}")
    before = list(Patient.objects.order_by("id").values())
    of = written(checked("".join(patients_export(actor=ACTOR, now=now, clinic=clinic))), now)
    assert of.counts["same"] == len(names)
    assert list(Patient.objects.order_by("id").values()) == before
    Patient.objects.all().delete()
    again = "".join(patients_export(actor=ACTOR, now=now, clinic=clinic))
    assert again.count("\n") == 1


def test_the_export_leaves_out_whose_record_was_erased(clinic: Clinic, now: datetime) -> None:
    PatientFactory(full_name="Ana Reis")
    PatientFactory(full_name="", erased_at=now)
    lines = "".join(patients_export(actor=ACTOR, now=now, clinic=clinic)).splitlines()
    assert [line.partition(",")[0] for line in lines] == ["\ufeffname", "Ana Reis"]


def test_the_events_hold_names_of_fields_and_nobody_s_name(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    of = written(checked(HEAD + "Ana Reis,1985-03-04,212 555 0123,,,\n"), now)
    import_drop(actor=ACTOR, now=now, of=of)
    told = str(list(Event.objects.values()))
    assert "patient.imported" in told
    assert all(word not in told for word in ("Reis", "0123", "list.csv"))
    assert not ImportLine.objects.exists()
