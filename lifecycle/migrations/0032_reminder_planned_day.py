"""The day of a planned visit that a reminder follows."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = (("lifecycle", "0031_latest_step"),)

    operations = (migrations.AddField("reminder", "planned_on", models.DateField(blank=True, null=True)),)
