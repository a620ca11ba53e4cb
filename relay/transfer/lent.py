"""Bytes of a file in lent memory: counted off as they arrive at the other machine, read again if wanted once more.

Bytes in flight are those that we hold and the other machine's system has not confirmed. What it did confirm waits only
for the store's word, and the next file can be read and hashed meanwhile.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack, nullcontext

Reread = Callable[[], AbstractContextManager[memoryview]]


class Lent:
    """`ease` says how many bytes are in flight still, `held` gives all back, `reread` lends the same bytes anew."""

    def __init__(self, body: memoryview, ease: Callable[[int], None], held: ExitStack, reread: Reread) -> None:
        self._body = body
        self._ease = ease
        self._held = held
        self._reread = reread
        self.is_gone = False
        """Whether some of it arrived, so that it is no longer counted: then it must not be sent from here again."""

    def carried(self, left: int) -> None:
        """Hear that `left` bytes have not arrived yet."""
        self.is_gone = True
        if left:
            self._ease(left)
        else:
            self._held.close()

    def wanted(self) -> AbstractContextManager[memoryview]:
        """Return the bytes, where they are or read again. Whoever asks holds nothing else that is lent."""
        if not self.is_gone:
            return nullcontext(self._body)
        self._held.close()
        return self._reread()
