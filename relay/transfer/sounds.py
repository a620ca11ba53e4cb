"""How long the sound is that a version holds: as its inspection measured it, else by the stored header alone."""

from relay.errors import BrokenError, MissingError, RefusedError
from relay.ledger.state import Version
from relay.media.manifest import PackedFile
from relay.media.package import contents_of
from relay.media.soundlength import HEAD, SoundLength, parse_sound_length
from relay.model import digest_of
from relay.store.keys import object_key
from relay.transfer.desk import Desk
from relay.transfer.looked import read_report


def sound_of(desk: Desk, version: Version) -> PackedFile:
    """Return the one file of sound in a version. Raises MissingError, and RefusedError where there are several."""
    files = {file.path: file for file in desk.manifests.read(version.manifest).files}
    sounds = contents_of(files).sounds
    if not sounds:
        raise MissingError(f"{version.name} holds no sound: name the version that does, or a WAV or FLAC file")
    if len(sounds) > 1:
        raise RefusedError(f"{version.name} holds {len(sounds)} sounds, {', '.join(sounds[:5])}: name a file instead")
    return files[sounds[0]]


def sound_length(desk: Desk, version: Version) -> SoundLength:
    """Return how long the sound in a version is. Raises MissingError, RefusedError, BrokenError."""
    file = sound_of(desk, version)
    for inspected in reversed(version.inspections):
        for track in read_report(desk, inspected).sounds:
            if track.path == file.path:
                return SoundLength(track.samples, track.rate)
    first = file.objects()[0]
    body = desk.store.read(object_key(first.digest))
    if digest_of(body) != first.digest:
        raise BrokenError(
            f"{desk.store.name}: {object_key(first.digest)} holds wrong bytes: `relay mend {version.name}`"
        )
    try:
        return parse_sound_length(body[:HEAD], file.size)
    except ValueError as fault:
        raise RefusedError(f"the length of {file.path} in {version.name} cannot be read: {fault}") from fault
