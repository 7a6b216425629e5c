"""The ways out: a folder, a mail server, an SMS gateway. They know nothing of services, rows or pages."""

from reminders.transports.base import CalendarPart, ImagePart, Outgoing, Transport, TransportError

__all__ = ["CalendarPart", "ImagePart", "Outgoing", "Transport", "TransportError"]
