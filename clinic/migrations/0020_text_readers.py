import clinic.models.clinic
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('clinic', '0019_events_not_truncated'),
    ]

    operations = [
        migrations.AddField(
            model_name='clinic',
            name='text_readers',
            field=models.JSONField(blank=True, default=clinic.models.clinic._nothing),
        ),
    ]
