"""Records by when they happened, for what is added up of a period."""

from django.db import migrations, models

from reels.migrations._beside import AddIndexBeside

INDEXES = (
    ('driftflag', 'raised_at', 'drift_flag_by_time'), ('driftflag', 'closed_at', 'drift_flag_by_end'),
    ('finding', 'recorded_at', 'finding_by_time'), ('finding', 'closed_at', 'finding_by_end'),
    ('importedcount', 'counted_at', 'imported_count_by_time'), ('inspection', 'done_at', 'inspection_by_time'),
    ('referral', 'referred_at', 'referral_by_time'), ('setupvalues', 'issued_at', 'setup_values_by_time'),
    ('setupvalues', 'confirmed_at', 'setup_values_confirmed'), ('setupvalues', 'withdrawn_at', 'setup_values_by_end'),
)


class Migration(migrations.Migration):

    atomic = False
    dependencies = [('inspections', '0028_findings_in_status_rows')]

    operations = [AddIndexBeside(model, models.Index(fields=[at], name=name)) for model, at, name in INDEXES]
