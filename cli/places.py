"""What can be told of files before anything that takes long to load is loaded."""

from __future__ import annotations

STANDARD_STREAM = "-"


AUDIO_ENDINGS = (".wav", ".flac", ".aif", ".aiff", ".ogg", ".opus", ".mp3", ".w64", ".rf64", ".caf")


def is_audio(place: str) -> bool:
    """Whether a file is called as audio files are."""
    return place.lower().endswith(AUDIO_ENDINGS)


def check_music(*places: str) -> None:
    """Refuse music that cannot be read."""
    from stagefx.io.files import open_audio

    for place in places:
        if place != STANDARD_STREAM:
            open_audio(place).close()


def check_output(place: str, *inputs: str, force: bool) -> None:
    """Refuse a place that cannot be written."""
    from stagefx.io.atomic_file import check_free, refuse_same_file

    if place != STANDARD_STREAM:
        refuse_same_file(place, *inputs)
        check_free(place, force=force)
