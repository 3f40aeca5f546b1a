"""The form that asks for a sign-in code."""

from __future__ import annotations

from allauth.account import forms as account_forms
from django.utils import timezone

from lifecycle.care import signin


class RequestLoginCodeForm(account_forms.RequestLoginCodeForm):
    """A customer's address gets a code; a member's and an unknown one get nothing, and the page looks the same."""

    def clean_email(self) -> str:
        address = str(self.cleaned_data["email"])
        signin.user_for_address(address, at=timezone.now())
        email: str = super().clean_email()
        # A mailbox alone must not open the studio: members come with their password and second factor.
        if self._user is not None and signin.is_member(self._user.pk):
            self._user = None
        return email
