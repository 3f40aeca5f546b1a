"""The front door's own addresses, under /account/."""

from django.urls import path

from . import devices, door, language, passkeys

urlpatterns = [
    path("login/code/", door.request_code, name="account_request_login_code"),
    path("login/code/confirm/", door.confirm_code, name="account_confirm_login_code"),
    path("link/<str:link>/", door.open_link, name="sign_in_link"),
    path("language/", language.switch, name="switch_language"),
    path("devices/", devices.devices, name="devices"),
    path("2fa/webauthn/add/", passkeys.add_passkey, name="mfa_add_webauthn"),
]
