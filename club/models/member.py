"""The club's members."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models.functions import Lower
from django.urls import reverse
from django.utils.translation import gettext_lazy

from setups.units import Lengths


class Member(AbstractUser):
    """A member of the club and what they may do besides reading and posting."""

    class Role(models.TextChoices):
        MEMBER = "member", gettext_lazy("member")
        STEWARD = "steward", gettext_lazy("steward")
        RACE_DIRECTOR = "race_director", gettext_lazy("race director")
        LIBRARIAN = "librarian", gettext_lazy("librarian")

    class Language(models.TextChoices):
        ENGLISH = "en-gb", "English"
        GERMAN = "de", "Deutsch"

    display_name = models.CharField(max_length=80, blank=True)
    role = models.CharField(max_length=13, choices=Role, default=Role.MEMBER)
    # Empty: as the device has it. What is chosen takes effect wherever the member signs in (club/reader.py).
    language = models.CharField(max_length=5, choices=Language, blank=True)
    units = models.CharField(max_length=4, choices=[(unit.value, unit.value) for unit in Lengths], blank=True)

    class Meta(AbstractUser.Meta):
        constraints = [
            models.UniqueConstraint(Lower("username"), name="member_username_once_in_any_case"),
        ]

    def __str__(self) -> str:
        return self.display_name or self.username

    def get_absolute_url(self) -> str:
        return reverse("member", args=[self.username])

    @property
    def keeps_library(self) -> bool:
        """True for those who may load bodies and parts into the library."""
        return self.is_active and (self.role == self.Role.LIBRARIAN or self.is_superuser)

    @property
    def settles_disputes(self) -> bool:
        """True for those who settle what members' measurements contradict."""
        return self.is_active and (self.role == self.Role.STEWARD or self.is_superuser)

    @property
    def directs_races(self) -> bool:
        """True for those who write rulebooks and run events."""
        return self.is_active and (self.role == self.Role.RACE_DIRECTOR or self.is_superuser)
