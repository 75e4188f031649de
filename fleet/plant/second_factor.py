"""The second factor of an account: set up by its holder, asked at sign-in, reset by an administrator."""

import datetime as dt
from collections.abc import Iterable
from uuid import UUID

from django.db import transaction

from fleet.clock import now
from fleet.ledger.commitments import SET_UP, TAKEN_AWAY
from fleet.models import Account, Person, Role
from fleet.plant.acts import Refused
from fleet.plant.choices import set_setting
from fleet.plant.notices import tell
from fleet.plant.people import tell_state
from fleet.plant.required_factor import SETTING, look_again, roles_required
from fleet.web.one_time_codes import key_mark, secret_of, step_of

# Common practice, no published source: who has the password has three codes of a million a try.
MOST_WRONG = 5
WINDOW = dt.timedelta(minutes=15)


class TooManyWrongCodes(Exception):
    """An account took five wrong codes within a quarter of an hour, from wherever they came."""


@transaction.atomic
def set_up(account: Account, *, salt: str, code: str) -> bool:
    """Take the secret of a salt as the account's second factor, once a code of it was typed; False for
    another code.

    Every other session of the account ends, and a second factor that it had is replaced.
    """
    step = step_of(secret_of(account.pk, salt), code, now())
    if step is None:
        return False
    account.code_salt, account.code_key, account.code_step = salt, key_mark(), step
    account.wrong_codes, account.wrong_codes_since = 0, None
    account.save(update_fields=["code_salt", "code_key", "code_step", "wrong_codes", "wrong_codes_since"])
    tell_state(account, SET_UP)
    return True


def is_right(account: Account, code: str) -> bool:
    """Whether a code is the account's, now, and not taken before; wrong ones are counted by account.

    Raises
    ------
    Refused
        where the site's key is another than when the second factor was set up.
    TooManyWrongCodes
    """
    with transaction.atomic():
        row = Account.objects.select_for_update().get(pk=account.pk)
        if row.code_key != key_mark():
            raise Refused(
                "The key of this site was changed since your second factor was set up, so its codes fit no"
                " more. Ask an administrator to reset it; then set it up anew."
            )
        instant = now()
        fresh = row.wrong_codes_since is None or instant - row.wrong_codes_since > WINDOW
        if not fresh and row.wrong_codes >= MOST_WRONG:
            raise TooManyWrongCodes
        step = step_of(secret_of(row.pk, row.code_salt), code, instant, after=row.code_step)
        if step is None:
            _count(row, instant, fresh)
        else:
            row.code_step, row.wrong_codes, row.wrong_codes_since = step, 0, None
        row.save(update_fields=["code_step", "wrong_codes", "wrong_codes_since"])
    return step is not None


def _count(row: Account, instant: dt.datetime, fresh: bool) -> None:
    """One wrong code more; the holder hears of it where they became too many."""
    row.wrong_codes = 1 if fresh else row.wrong_codes + 1
    row.wrong_codes_since = instant if fresh else row.wrong_codes_since
    if row.wrong_codes == MOST_WRONG:
        tell(
            [row],
            f"{MOST_WRONG} wrong codes were typed after your right password on {instant:%Y-%m-%d} at "
            f"{instant:%H:%M} UTC. If that was not you, somebody knows your password: change it.",
        )


@transaction.atomic
def reset(account: Account, *, by: UUID) -> None:
    """Take an account's second factor away, so that it can be set up anew; recorded, and told to its holder.

    Every session of the account ends.

    Raises
    ------
    Refused
        where there is none.
    """
    if not account.code_salt:
        raise Refused(f"{account.person} has no second factor. There is nothing to reset.")
    account.code_salt = account.code_key = ""
    account.wrong_codes, account.wrong_codes_since = 0, None
    account.save(update_fields=["code_salt", "code_key", "wrong_codes", "wrong_codes_since"])
    tell_state(account, TAKEN_AWAY, by=by)
    instant = now()
    tell(
        [account],
        f"{Person.objects.get(pk=by)} reset your second factor on {instant:%Y-%m-%d} at {instant:%H:%M} UTC. "
        "If you did not ask for it, tell another administrator now.",
    )


@transaction.atomic
def require_of(roles: Iterable[str], *, by: UUID) -> None:
    """From now on these roles need a second factor, and no others.

    Raises
    ------
    Refused
        for a word that is no role.
    """
    wanted = sorted(set(roles))
    if odd := [role for role in wanted if role not in Role.Word.values]:
        raise Refused(f"'{odd[0]}' is no role. Roles are: {', '.join(Role.Word.values)}.")
    if frozenset(wanted) != roles_required():
        set_setting(name=SETTING, value={"roles": wanted}, by=by)
    look_again()
