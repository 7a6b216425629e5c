"""A list of patients from another program, from its upload to what became of each line."""

from django.db import models

from clinic.models.people import User


class PatientImport(models.Model):
    """One file. Its bytes and lines are kept until it is written or dropped; times are aware UTC.

    mapping: column word to position in a line. lines: how many lines hold somebody, the heading not counted.
    """

    class State(models.TextChoices):
        UPLOADED = "uploaded", "its columns are to be looked at"
        CHECKING = "checking", "its lines are being checked"
        CHECKED = "checked", "checked, nothing written yet"
        WRITTEN = "written", "written"

    file_name = models.CharField(max_length=200)
    size = models.PositiveBigIntegerField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    uploaded_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=State, default=State.UPLOADED)
    codec = models.CharField(max_length=20)
    codec_sure = models.BooleanField()
    delimiter = models.CharField(max_length=1)
    headings = models.JSONField(default=list)
    mapping = models.JSONField(default=dict)
    date_order = models.CharField(max_length=3, blank=True)
    lines = models.PositiveIntegerField(default=0)
    done = models.PositiveIntegerField(default=0)
    counts = models.JSONField(default=dict)
    written_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.file_name


class ImportPart(models.Model):
    """A piece of the file's bytes; they lie in the database so that any host can go on with the work."""

    of = models.ForeignKey(PatientImport, models.CASCADE, related_name="parts")
    position = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["of", "position"], name="import_part_once")]


class ImportLine(models.Model):
    """What one line was judged to be. line: its number in the file, as an editor shows it.

    person_key, name_key, number_key, digest: hashes by which lines about the same person are found.
    gets_texts: whether its number can be a mobile. search_text: what its person will be found by; empty where it
    writes nobody. prefers: the channel of somebody new. found_id, found_version: whom a
    line changes, as they were stored when it was checked, and changes: which of their fields.
    """

    of = models.ForeignKey(PatientImport, models.CASCADE, related_name="judged")
    line = models.PositiveIntegerField()
    state = models.CharField(max_length=8)
    reason = models.CharField(max_length=500, blank=True)
    cells = models.JSONField()
    values = models.JSONField()
    person_key = models.BigIntegerField(null=True)
    name_key = models.BigIntegerField(null=True)
    number_key = models.BigIntegerField(null=True)
    digest = models.BigIntegerField(null=True)
    gets_texts = models.BooleanField(default=False)
    search_text = models.CharField(max_length=500, default="")
    prefers = models.CharField(max_length=5, default="")
    found_id = models.BigIntegerField(null=True)
    found_version = models.PositiveIntegerField(null=True)
    changes = models.JSONField(default=list)

    class Meta:
        ordering = ["line"]
        constraints = [models.UniqueConstraint(fields=["of", "line"], name="import_line_once")]
        indexes = [
            models.Index(fields=["of", "state", "line"], name="import_line_state"),
            models.Index(fields=["of", "person_key"], name="import_line_person"),
            models.Index(fields=["of", "name_key"], name="import_line_name"),
            models.Index(fields=["of", "number_key"], name="import_line_number"),
        ]


class RememberedColumns(models.Model):
    """How the columns of a file with these headings were chosen the last time."""

    headings = models.CharField(max_length=64, unique=True)
    mapping = models.JSONField()
    date_order = models.CharField(max_length=3, blank=True)
    saved_at = models.DateTimeField()
