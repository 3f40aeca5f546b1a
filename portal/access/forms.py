"""Forms of the front door."""

from __future__ import annotations

from typing import Any

from allauth.mfa.webauthn.forms import AddWebAuthnForm
from django import forms
from django.utils.translation import gettext_lazy as _

from lifecycle.care import signin


class AskForm(forms.Form):
    """The address to which a code and a link go."""

    email = forms.EmailField(
        label=_("E-mail address"),
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email", "inputmode": "email"}),
    )


class CodeForm(forms.Form):
    """The code from the mail; dashes, spaces and case do not matter."""

    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )


class AddPasskeyForm(AddWebAuthnForm):
    """A passkey with its name. For a customer it opens the door alone, so that is ticked already."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["name"].label = _("Name, for telling it from others")
        self.fields["passwordless"].label = _("Sign in with it alone")
        self.fields["passwordless"].help_text = _("The device asks for a fingerprint, a face or a PIN.")
        if not signin.is_member(self.user.pk):
            self.fields["passwordless"].initial = True
