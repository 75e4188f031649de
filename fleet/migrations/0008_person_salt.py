from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0007_shells_scrapeable_or_not_known"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="salt",
            field=models.CharField(blank=True, default="", max_length=32),
        ),
    ]
