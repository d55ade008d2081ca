"""Forms of the owner: the shop's profile and the people; and everybody's own password."""

import re
import zoneinfo
from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.core.exceptions import ValidationError

from garage import photos
from garage.actions.profile import FIELDS
from garage.forms import FieldsForm
from garage.forms_fields import needed
from garage.models import Role, ShopProfile

_PASSWORD_HELP = "At least 8 characters; several words are easier to remember than random characters."


def _new_password(label: str, ask: str = "Write a password.") -> forms.CharField:
    widget = forms.PasswordInput({"autocomplete": "new-password"})
    return forms.CharField(
        label=label, max_length=128, strip=False, widget=widget, help_text=_PASSWORD_HELP, error_messages=needed(ask)
    )


class LoginForm(AuthenticationForm):
    """Name and password; a wrong name and a wrong password get the same answer."""

    username = UsernameField(
        label="Login name",
        widget=forms.TextInput({"autofocus": True}),
        error_messages=needed("Write your login name."),
    )
    password = forms.CharField(
        label="Password",
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
        error_messages=needed("Write your password."),
    )

    error_messages = {
        "invalid_login": "This name and this password do not go together.",
        "inactive": "This name and this password do not go together.",
    }


class ShopProfileForm(FieldsForm):
    """What the shop says about itself."""

    logo = forms.FileField(
        label="Logo",
        required=False,
        widget=forms.FileInput({"accept": photos.ACCEPT}),
        help_text="JPEG, PNG or WebP, 10 MB at most. It is printed on estimates and invoices.",
    )
    without_logo = forms.BooleanField(label="Print without the logo", required=False)
    time_zone = forms.ChoiceField(label="Time zone", error_messages=needed("Choose the time zone."))

    class Meta:
        model = ShopProfile
        fields = FIELDS
        error_messages = {
            "name": needed("Write the garage’s name."),
            "currency": needed("Write the currency’s three letters, such as USD."),
            "distance_unit": needed("Choose miles or kilometers."),
            "locale": needed("Choose whose words, dates and times you use."),
            "page_size": needed("Choose the paper size."),
            "labor_rate": needed("Write the labor rate; 0 for none."),
            "labor_basis": needed("Write how hours are counted: it is printed on estimates."),
            "estimate_days": needed("Write for how many days an estimate holds."),
            "payment_days": needed("Write after how many days an invoice is due; 0 for at once."),
            "authorization_text": needed("Write the sentence that customers authorize."),
            "mail_text": needed("Write what the mail with an invoice says."),
        }
        widgets = {
            name: forms.Textarea({"rows": rows})
            for name, rows in (("address", 4), ("authorization_text", 3), ("mail_text", 6))
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zone = self.fields["time_zone"]
        assert isinstance(zone, forms.ChoiceField)
        zone.choices = [(name, name.replace("_", " ")) for name in time_zones()]
        self.initial["logo"] = None

    def clean_currency(self) -> str:
        return str(self.cleaned_data["currency"]).strip().upper()


def time_zones() -> list[str]:
    """The zones of places, and UTC."""
    return sorted(
        name
        for name in zoneinfo.available_timezones()
        if name == "UTC" or ("/" in name and not name.startswith(("Etc/", "SystemV/", "posix/", "right/")))
    )


class PersonForm(forms.Form):
    """Somebody's name and role."""

    name = forms.CharField(
        label="Name",
        max_length=80,
        help_text="As it is printed on papers and beside a step.",
        error_messages=needed("Write their name."),
    )
    role = forms.ChoiceField(
        label="Role", choices=Role.choices, initial=Role.TECHNICIAN, error_messages=needed("Choose a role.")
    )
    email = forms.EmailField(label="Email", required=False)
    is_active = forms.BooleanField(label="May log in", required=False, initial=True)


class NewPersonForm(PersonForm):
    """A new person who works here, with a login name and a first password."""

    username = forms.CharField(
        label="Login name",
        max_length=60,
        error_messages=needed("Write a login name."),
        widget=forms.TextInput({"autocapitalize": "none", "autocomplete": "off", "spellcheck": "false"}),
    )
    password = _new_password("First password")
    field_order = ("name", "username", "password", "role", "email")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["is_active"]

    def clean_username(self) -> str:
        username: str = self.cleaned_data["username"]
        if not re.fullmatch(r"[\w.@+-]+", username):
            raise ValidationError("Letters, digits and . @ + - _ only, without spaces.")
        return username


class PasswordForm(forms.Form):
    """A new password for somebody who has forgotten theirs."""

    password = _new_password("New password")


class OwnPasswordForm(forms.Form):
    """One's own new password, typed twice."""

    old = forms.CharField(
        label="Current password",
        max_length=128,
        error_messages=needed("Write your current password."),
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "current-password"}),
    )
    new = _new_password("New password")
    again = forms.CharField(
        label="New password again",
        max_length=128,
        error_messages=needed("Write the new password again."),
        strip=False,
        widget=forms.PasswordInput({"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("new") and cleaned.get("again") and cleaned["new"] != cleaned["again"]:
            self.add_error("again", "Not the same as above.")
        return cleaned
