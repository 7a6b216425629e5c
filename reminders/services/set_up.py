"""What a failed test message means for whoever sets up mail or texts, in plain words."""

import smtplib
import socket
import ssl

from reminders.transports import TransportError

_SMTP = {
    421: "The mail server is busy or turns this machine away. Wait a few minutes; then ask its operator.",
    530: "The mail server wants a user and a password, or encryption: put them into EMAIL_URL.",
    534: "The mail server refuses this way of logging in. Ask its operator for a password for programs.",
    535: "User or password in EMAIL_URL is wrong. Signs such as @ : / in them are written %40 %3A %2F.",
    538: "The mail server takes passwords only when encrypted: write smtp+tls or smtp+ssl.",
    550: "The mail server knows no such mailbox, or may not send for SENDER_ADDRESS.",
    552: "The mail server finds the message too large.",
    553: "The mail server does not accept that address, or SENDER_ADDRESS.",
    554: "The mail server refuses the message. Often SENDER_ADDRESS is not one it may send for.",
}
_HTTP = {
    400: "The gateway did not understand the request. README shows what it is asked.",
    401: "SMS_GATEWAY_TOKEN is missing or wrong.",
    402: "The gateway says that the account has to be paid.",
    403: "The gateway knows the token and does not allow it to send.",
    404: "There is no gateway at that path of SMS_GATEWAY_URL, or no such number.",
    405: "SMS_GATEWAY_URL leads to something that takes no messages.",
    410: "The gateway says that the number is gone.",
    422: "The gateway does not accept that number.",
    429: "The gateway has had too many requests. Wait, then try again.",
    504: "The gateway heard nothing from the network behind it. The message may have gone.",
}
_NEVER_REACHED = "Check host and port, and that this machine may connect to them (a firewall?)."


def what_to_do(error: TransportError) -> str:
    """One or two sentences: what is wrong by all appearances, and what to try. Names no address and no password."""
    if error.code is not None:
        return _by_code(error.protocol, error.code)
    return _by_cause(error.__cause__, error.handed_over)


def _by_code(protocol: str, code: int) -> str:
    said = (_SMTP if protocol == "smtp" else _HTTP).get(code)
    if said:
        return said
    if protocol == "smtp":
        later = 400 <= code < 500
        return "That is for the moment: try again in some minutes." if later else "Ask the operator of the mail server."
    if 300 <= code < 400:
        return "The gateway lives at another address now: correct SMS_GATEWAY_URL."
    return "The gateway has a fault of its own. Try again later." if code >= 500 else "Ask the operator of the gateway."


def _by_cause(cause: BaseException | None, handed_over: bool) -> str:
    if isinstance(cause, ssl.SSLCertVerificationError):
        return (
            "The server's certificate is not one this machine trusts, or is for another name. It is never sent to "
            "all the same: correct the host's name, or have the certificate's authority added to this machine."
        )
    if isinstance(cause, ssl.SSLError):
        return "The server does not speak encryption at that port in that way: 587 wants smtp+tls, 465 wants smtp+ssl."
    if isinstance(cause, smtplib.SMTPNotSupportedError):
        return "The mail server does not offer what EMAIL_URL asks for: encryption (smtp+tls), or a log-in."
    if isinstance(cause, UnicodeError):
        return "User and password in EMAIL_URL may hold only unaccented letters, digits and signs."
    if isinstance(cause, socket.gaierror):
        return "No machine of that name was found: check how the host is written."
    if isinstance(cause, ConnectionRefusedError):
        return f"Nothing listens there. {_NEVER_REACHED}"
    if handed_over:
        return "It was handed over and no clear answer came: look whether it arrived before you try again."
    if isinstance(cause, TimeoutError):
        return f"The server did not speak within ten seconds. {_NEVER_REACHED} 465 wants smtp+ssl, 587 smtp+tls."
    return f"The connection broke. {_NEVER_REACHED}"
