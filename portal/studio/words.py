"""The studio's own words for its mails: a list, one page a kind and language with preview, trial and the way back."""

from __future__ import annotations

from functools import partial

from csp.decorators import csp
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import trials, wordings
from lifecycle.reminders.render import Rendered
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt
from .letters import MAIL_POLICY
from .register import who_and_when
from .word_forms import WordsForm


@access("owner")
@require_GET
def words(request: MemberRequest) -> HttpResponse:
    """Every kind of mail in every language."""
    return render(request, "studio/words.html", {"rows": wordings.listing(request.member.studio)})


def _voice(request: MemberRequest, kind: str, language: str) -> wordings.Voice:
    try:
        return wordings.voice(request.member.studio, kind, language)
    except DomainError as error:
        raise Http404(error.message) from error


def _form(request: MemberRequest, voice: wordings.Voice) -> WordsForm:
    data = request.POST if request.method == "POST" else None
    return WordsForm(data, voice=voice, samples=trials.samples(request.member.studio, voice.kind.key))


@access("owner")
@require_http_methods(["GET", "POST"])
def wording(request: MemberRequest, mail: str, language: str) -> HttpResponse:
    """One kind of mail in one language. The button says what is done: show, keep, try out, or go back."""
    voice = _voice(request, mail, language)
    form = _form(request, voice)
    shown: Rendered | None = None
    if request.method == "POST" and form.is_valid():
        asked = request.POST.get("do", "")
        if asked == "keep":
            done = attempt(form, partial(_keep, request, voice, form))
        elif asked == "back":
            done = attempt(form, partial(_back, request, voice))
        elif asked == "try":
            done = attempt(form, partial(_try, request, voice, form))
        else:
            done, shown = None, attempt(form, partial(_show, request, voice, form))
        if done is not None:
            messages.success(request, done)
            if asked != "try":
                return redirect("studio:wording", mail=mail, language=language)
    context = {
        "voice": voice,
        "form": form,
        "shown": shown,
        "languages": dict(wordings.languages()),
        "own": any(voice.own.values()),
        "earlier": wordings.earlier(request.member.studio, kind=mail, language=language),
        "trials": trials.trials(request.member.studio, kind=mail, language=language),
    }
    return render(request, "studio/wording.html", context, status=422 if form.errors else 200)


def _keep(request: MemberRequest, voice: wordings.Voice, form: WordsForm) -> str:
    changed = wordings.put(
        kind=voice.kind.key, language=voice.language, texts=form.words, member_id=request.member.id,
        **who_and_when(request),
    )  # fmt: skip
    return "Kept. Mails that are written from now on use these words." if changed else "Nothing was different."


def _back(request: MemberRequest, voice: wordings.Voice) -> str:
    wordings.set_back(
        kind=voice.kind.key, language=voice.language, member_id=request.member.id, **who_and_when(request)
    )
    return "The built-in words hold again; yours stay in the list of earlier ones."


def _show(request: MemberRequest, voice: wordings.Voice, form: WordsForm) -> Rendered:
    sample = form.cleaned_data["sample"]
    if not sample:
        raise DomainError("sample: there is nothing on record yet that this mail could be about.", field="sample")
    return trials.show(
        studio=request.member.studio, kind=voice.kind.key, language=voice.language, sample_id=sample,
        draft=form.words, at=timezone.now(),
    )  # fmt: skip


def _try(request: MemberRequest, voice: wordings.Voice, form: WordsForm) -> str | None:
    sample = form.cleaned_data["sample"]
    if not sample:
        raise DomainError("sample: there is nothing on record yet that this mail could be about.", field="sample")
    trial = trials.send_trial(
        kind=voice.kind.key, language=voice.language, sample_id=sample, draft=form.words,
        member_id=request.member.id, **who_and_when(request),
    )  # fmt: skip
    if trial.outcome != "accepted":
        raise DomainError(f"The trial did not go out: {trial.error or trial.outcome}")
    return "The trial went to your own address. Its links change nobody's choices."


@access("owner")
@require_POST
@csp(MAIL_POLICY)
def wording_page(request: MemberRequest, mail: str, language: str) -> HttpResponse:
    """The mail's own HTML with the words as they are typed, locked into a policy of its own."""
    voice = _voice(request, mail, language)
    form = _form(request, voice)
    if not form.is_valid():
        return HttpResponse("This cannot be shown yet; go back and press “Show the text”.", status=422)
    try:
        return HttpResponse(_show(request, voice, form).html)
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        return HttpResponse(f"{error.message} Go back and mend it.", status=422, content_type="text/plain")
