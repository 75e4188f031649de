"""Persons apart from accounts, and what each may do where."""

import uuid

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils.crypto import salted_hmac

from fleet.models.recorded import Recorded
from fleet.models.site import Site


class Person(models.Model):
    """The ledger holds the inner id only; the name stands beside it and can be blanked by law."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120, blank=True)
    folded = models.CharField(max_length=120, blank=True, db_index=True)
    employer = models.CharField(max_length=120, blank=True)
    salt = models.CharField(max_length=32, blank=True, default="")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name or "name removed"


class AccountManager(BaseUserManager):
    def get_by_natural_key(self, username):
        return self.get(username__iexact=username)


class Account(AbstractBaseUser):
    """A way to sign in; each has one person, not every person has one."""

    username = models.CharField(max_length=80, unique=True)
    person = models.OneToOneField(Person, models.PROTECT, related_name="account")
    is_active = models.BooleanField(default=True)
    must_change_password = models.BooleanField(default=False)
    # The second factor: its secret is worked out from this salt and the site's own key, and is stored
    # nowhere.
    code_salt = models.CharField(max_length=32, blank=True, default="")
    code_key = models.CharField(max_length=16, blank=True, default="", help_text="by which key of the site")
    code_step = models.BigIntegerField(
        default=0, help_text="the step of the last code taken; none is taken twice"
    )
    wrong_codes = models.PositiveSmallIntegerField(default=0)
    wrong_codes_since = models.DateTimeField(null=True, blank=True)
    must_have_code = models.BooleanField(default=False)
    is_sealed = models.BooleanField(default=False, help_text="for one use when nobody else can sign in")
    has_notices = models.BooleanField(default=False)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: list[str] = []
    objects = AccountManager()

    def __str__(self) -> str:
        return self.username

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """Sessions end where the password changes (Django's own rule) or the second factor does."""
        own: str = super()._get_session_auth_hash(secret=secret)  # type: ignore[misc]
        return salted_hmac(own, self.code_salt, algorithm="sha256").hexdigest() if self.code_salt else own


class Notice(models.Model):
    """What one account must hear of on its next page, until it says that it has read it."""

    account = models.ForeignKey(Account, models.CASCADE, related_name="notices")
    at = models.DateTimeField()
    words = models.CharField(max_length=500)
    read_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.words


class Role(Recorded):
    class Word(models.TextChoices):
        MECHANIC = "mechanic"
        FOREMAN = "foreman"
        ENGINEER = "engineer"
        PLANNER = "planner"
        OPERATIONS = "operations"
        AUDITOR = "auditor"
        READER = "reader"
        ADMINISTRATOR = "administrator"

    person = models.ForeignKey(Person, models.PROTECT, related_name="roles")
    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True, help_text="empty: all sites")
    role = models.CharField(max_length=16, choices=Word.choices)
    from_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return self.role
