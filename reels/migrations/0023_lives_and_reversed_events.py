"""Limits of the lives of reels and cables, holds that the service places itself, and events that were taken back."""

import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('reels', '0022_moves_with_two_ends'),
    ]

    operations = [
        migrations.AddField(
            model_name='reelevent',
            name='reverses',
            field=models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='reversed_by', to='reels.reelevent'),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='cable_days_hard',
            field=models.PositiveSmallIntegerField(blank=True, help_text='At so many the reel is held. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='cable_days_soft',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Warned from so many on. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='cable_hours_hard',
            field=models.PositiveSmallIntegerField(blank=True, help_text='At so many the reel is held. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='cable_hours_soft',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Warned from so many on. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='cable_uses_hard',
            field=models.PositiveSmallIntegerField(blank=True, help_text='At so many the reel is held. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='cable_uses_soft',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Warned from so many on. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='reel_days_hard',
            field=models.PositiveSmallIntegerField(blank=True, help_text='At so many the reel is held. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='reel_days_soft',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Warned from so many on. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='reel_hours_hard',
            field=models.PositiveSmallIntegerField(blank=True, help_text='At so many the reel is held. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='reel_hours_soft',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Warned from so many on. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='reel_uses_hard',
            field=models.PositiveSmallIntegerField(blank=True, help_text='At so many the reel is held. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AddField(
            model_name='reeltype',
            name='reel_uses_soft',
            field=models.PositiveSmallIntegerField(blank=True, help_text='Warned from so many on. Empty: no limit.', null=True, validators=[django.core.validators.MinValueValidator(1)]),
        ),
        migrations.AlterField(
            model_name='hold',
            name='placed_by',
            field=models.ForeignKey(help_text='Empty: the service itself.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AlterField(
            model_name='reelevent',
            name='kind',
            field=models.CharField(choices=[('respooled', 'respooled'), ('used', 'used'), ('incident', 'incident'), ('reversal', 'reversal')], max_length=9),
        ),
        migrations.AddConstraint(
            model_name='reelevent',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('ends_count', False), ('kind', 'reversal'), ('reverses__isnull', False)), models.Q(models.Q(('kind', 'reversal'), _negated=True), ('reverses__isnull', True)), _connector='OR'), name='reel_event_reversal_names_one'),
        ),
        migrations.AddConstraint(
            model_name='reeltype',
            constraint=models.CheckConstraint(condition=models.Q(('cable_uses_soft__isnull', True), ('cable_uses_hard__isnull', True), ('cable_uses_soft__lt', models.F('cable_uses_hard')), _connector='OR'), name='reel_type_cable_uses_soft_below_hard', violation_error_message='cable_uses_soft less than cable_uses_hard'),
        ),
        migrations.AddConstraint(
            model_name='reeltype',
            constraint=models.CheckConstraint(condition=models.Q(('cable_hours_soft__isnull', True), ('cable_hours_hard__isnull', True), ('cable_hours_soft__lt', models.F('cable_hours_hard')), _connector='OR'), name='reel_type_cable_hours_soft_below_hard', violation_error_message='cable_hours_soft less than cable_hours_hard'),
        ),
        migrations.AddConstraint(
            model_name='reeltype',
            constraint=models.CheckConstraint(condition=models.Q(('cable_days_soft__isnull', True), ('cable_days_hard__isnull', True), ('cable_days_soft__lt', models.F('cable_days_hard')), _connector='OR'), name='reel_type_cable_days_soft_below_hard', violation_error_message='cable_days_soft less than cable_days_hard'),
        ),
        migrations.AddConstraint(
            model_name='reeltype',
            constraint=models.CheckConstraint(condition=models.Q(('reel_uses_soft__isnull', True), ('reel_uses_hard__isnull', True), ('reel_uses_soft__lt', models.F('reel_uses_hard')), _connector='OR'), name='reel_type_reel_uses_soft_below_hard', violation_error_message='reel_uses_soft less than reel_uses_hard'),
        ),
        migrations.AddConstraint(
            model_name='reeltype',
            constraint=models.CheckConstraint(condition=models.Q(('reel_hours_soft__isnull', True), ('reel_hours_hard__isnull', True), ('reel_hours_soft__lt', models.F('reel_hours_hard')), _connector='OR'), name='reel_type_reel_hours_soft_below_hard', violation_error_message='reel_hours_soft less than reel_hours_hard'),
        ),
        migrations.AddConstraint(
            model_name='reeltype',
            constraint=models.CheckConstraint(condition=models.Q(('reel_days_soft__isnull', True), ('reel_days_hard__isnull', True), ('reel_days_soft__lt', models.F('reel_days_hard')), _connector='OR'), name='reel_type_reel_days_soft_below_hard', violation_error_message='reel_days_soft less than reel_days_hard'),
        ),
    ]
