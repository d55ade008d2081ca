"""What no page may do: speak to another host, break the content policy, fail in a script or on the server."""

import re
from urllib.parse import urlsplit

from playwright.sync_api import BrowserContext, ConsoleMessage, Page, Request, Response, WebError

#: What is no fault though it stands in the console: a form that comes back with its errors (422), and a question
#: to the server that was overtaken by the next key typed.
ANSWERED = re.compile(
    r"Failed to load resource: the server responded with a status of 4\d\d|htmx:(afterRequest|sendAbort),"
)


class Watch:
    """Listens to a context and collects its faults as sentences."""

    def __init__(self, context: BrowserContext, who: str) -> None:
        self.who = who
        self.faults: list[str] = []
        context.on("request", self._asked)
        context.on("response", self._answered)
        context.on("console", self._said)
        context.on("weberror", self._broke)

    def take(self) -> list[str]:
        """The faults since the last time."""
        faults, self.faults = self.faults, []
        return faults

    def _asked(self, request: Request) -> None:
        address = urlsplit(request.url)
        if address.scheme in ("http", "https", "ws", "wss") and address.hostname != "127.0.0.1":
            self.faults.append(f"{self.who} asked another host: {request.url}")

    def _answered(self, response: Response) -> None:
        if response.status >= 500:
            self.faults.append(f"{self.who} got {response.status} from {response.url}")

    def _said(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not ANSWERED.match(message.text):
            self.faults.append(f"{self.who} saw in the console of {where(message.page)}: {message.text}")

    def _broke(self, error: WebError) -> None:
        self.faults.append(f"{self.who} had a script fail on {where(error.page)}: {error.error}")


def where(page: Page | None) -> str:
    return urlsplit(page.url).path if page else "a page that is gone"
