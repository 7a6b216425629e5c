"""The signed webhook: replies, receipts and bounces, told by a gateway, a mail server, or whatever stands between."""

import logging
from collections.abc import Callable
from datetime import datetime

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, JsonResponse
from django.http.request import UnreadablePostError
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from reminders.models import Notice
from reminders.rules.notices import Unreadable, read_bounce, read_receipt, read_reply
from reminders.rules.signature import Signed, signed_by
from reminders.services.notices import Taken, receipt_take, reply_take

log = logging.getLogger(__name__)

MOST_BYTES = 16 * 1024
TIME, SIGNATURE = "Wearwindow-Time", "Wearwindow-Signature"
_STATUS = {Taken.DONE: 200, Taken.SEEN: 200, Taken.UNKNOWN: 202}


def _reply(body: bytes, now: datetime) -> Taken:
    return reply_take(now=now, notice=read_reply(body))


def _receipt(body: bytes, now: datetime) -> Taken:
    return receipt_take(now=now, what=Notice.What.RECEIPT.value, notice=read_receipt(body))


def _bounce(body: bytes, now: datetime) -> Taken:
    return receipt_take(now=now, what=Notice.What.BOUNCE.value, notice=read_bounce(body))


_ACTS: dict[str, Callable[[bytes, datetime], Taken]] = {"reply": _reply, "receipt": _receipt, "bounce": _bounce}


@login_not_required
@csrf_exempt  # machines hold no cookie; the signature says who they are
@require_POST
def hook(request: HttpRequest, what: str) -> JsonResponse:
    """Take one notice. Refusals, in this order: 404 no such webhook or no key, 403 not encrypted, 413 too long,
    401 signature, 403 time, 400 unreadable. Taken: 200, or 202 where nobody here knows the number or the message."""
    act = _ACTS.get(what)
    if act is None or not settings.HOOK_KEY:
        return _refused(404, "there is no such webhook")
    if settings.SECURE_SSL_REDIRECT and not request.is_secure():
        return _refused(403, "this is not encrypted: use the https address")
    body = _body(request)
    if body is None:
        return _refused(413, f"the body is longer than {MOST_BYTES} bytes")
    now = timezone.now()
    signed = signed_by(
        settings.HOOK_KEY, request.headers.get(TIME, ""), body, request.headers.get(SIGNATURE, ""), now=now
    )
    if signed is Signed.FORGED:
        return _refused(401, "the signature is missing or wrong")
    if signed is Signed.STALE:
        return _refused(403, "the time is more than five minutes away from ours")
    try:
        taken = act(body, now)
    except Unreadable as wrong:
        return _refused(400, str(wrong))
    return JsonResponse({"result": taken.value}, status=_STATUS[taken])


def _body(request: HttpRequest) -> bytes | None:
    """The body as it came, None where it is too long; its length is looked at before it is read."""
    length = request.headers.get("Content-Length") or "0"
    if not length.isdecimal() or int(length) > MOST_BYTES:
        return None
    try:
        body = request.body
    except (RequestDataTooBig, UnreadablePostError):
        return None
    return body if len(body) <= MOST_BYTES else None


def _refused(status: int, words: str) -> JsonResponse:
    log.warning("A webhook was refused (%s): %s", status, words)
    return JsonResponse({"refused": words}, status=status)
