"""Adding a passkey. A customer needs no recovery codes: the mailed code stays open to them."""

from __future__ import annotations

from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.webauthn.views import AddWebAuthnView
from django.http import HttpResponse
from django.urls import reverse

from .registry import access


class AddPasskeyView(AddWebAuthnView):
    """The library's page, without recovery codes where the passkey is no second factor."""

    def form_valid(self, form: Any) -> HttpResponse:
        answer: HttpResponse = super().form_valid(form)
        if getattr(self.request, "member", None) is not None:
            return answer
        codes = Authenticator.objects.filter(user=self.request.user, type=Authenticator.Type.RECOVERY_CODES)
        codes.delete()
        answer["Location"] = reverse("mfa_index")
        return answer


add_passkey = access("signed_in")(AddPasskeyView.as_view())
