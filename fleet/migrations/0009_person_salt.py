from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0008_operations_role"),
    ]

    operations = [
        migrations.AddField(
            model_name="person",
            name="salt",
            field=models.CharField(blank=True, default="", max_length=32),
        ),
    ]
