"""Quality flags, each defined once for reader, pages, records and benchmark.

A flag never changes a value by itself.  It names something the person should
know; the uncertainty budget or the status carries the consequence.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Flag:
    """One quality flag: a stable name, a short text and what to do about it."""

    name: str
    short: str
    advice: str

    @property
    def sentence(self) -> str:
        """What is wrong, and what to do about it."""
        return f"{self.short}. {self.advice}".rstrip()


_ALL = (
    # --- the photo
    Flag("on-its-side", "The chamber is turned on its side in the photo",
         "Hold the phone upright, with the chamber from the bottom to the top of the picture."),
    Flag("blurred", "The photo is blurred", "Hold the phone still and tap the chamber to focus."),
    Flag("dark", "The photo is dark", "Put on a light that does not shine into the chamber."),
    Flag("clipped", "Parts of the photo are burnt out", "Move the light or the phone a little."),
    Flag("few-pixels", "The marks are very small in the photo", "Go nearer."),
    Flag("noisy", "The photo is grainy", "More light makes a cleaner photo."),
    # --- the view
    Flag("focal-unknown", "The photo does not say how strongly it is zoomed",
         "Send the original photo, not one forwarded by a chat."),
    Flag("part-of-photo", "The photo looks like a part that was cut out of a larger one",
         "Send the whole photo as it was taken."),
    Flag("zoomed", "The photo was taken with digital zoom", "Go nearer instead of zooming."),
    Flag("steep-view", "The chamber was seen steeply from above or below",
         "Hold the phone at the height of the liquid surface."),
    Flag("turned-view", "The scale is turned away from the phone",
         "Photograph the marks from straight in front."),
    Flag("leaning", "The liquid surface is not square to the scale",
         "Let the chamber hang plumb and still."),
    Flag("sensor-disagrees", "The phone's own sensor and the chamber do not agree on the vertical",
         "Let the chamber hang plumb and hold the phone still."),
    # --- the ladder
    Flag("marks-covered", "Part of the scale is covered", "Keep fingers and labels off the scale."),
    Flag("scale-cut-off", "The scale runs out of the picture",
         "Get the whole scale in the picture."),
    Flag("numbering-unsettled", "The printed numbers could not be settled",
         "Tap one mark and type its value."),
    Flag("numerals-disagree", "The printed numbers and the count of marks disagree",
         "Check that the right scale is chosen; tap one mark and type its value."),
    Flag("numerals-unread", "The printed numbers could not be read; the marks alone were counted",
         "Check the numbers on the overlay."),
    Flag("number-given", "The numbering rests on the value typed by the person", ""),
    Flag("wrong-scale", "The marks do not fit the chosen scale",
         "Choose the scale of this chamber."),
    Flag("marks-out-of-place", "The marks in the photo do not lie in line",
         "Go nearer, with a light that shows the marks before the liquid, and take another photo."),
    Flag("no-chamber", "No graduated chamber was found", "Fill the picture with the chamber."),
    Flag("several-chambers", "More than one graduated chamber is in the picture",
         "Tap the chamber that is meant, or photograph one alone."),
    # --- the pressure scale of the panel
    Flag("scale-not-found", "The pressure scale was not found",
         "Get the whole scale in the picture and tap the pointer beside it."),
    Flag("pointer-off-scale", "The tapped point is not beside the scale",
         "Tap the tip of the pointer, beside the marks."),
    # --- the surface
    Flag("surface-not-found", "No liquid surface was found", "Change the light or the background."),
    Flag("competing-surfaces", "More than one edge could be the surface",
         "Hold the phone at the height of the surface and take another photo."),
    Flag("meniscus-uncertain", "The shape of the meniscus could not be settled",
         "Hold the phone at the height of the surface, with an even background."),
    Flag("surface-unlike", "The surface looks unlike most that the tool knows",
         "See on the picture whether the line lies on the liquid; a photo in another light tells "
         "more."),
    Flag("view-contradicts", "Marks and surface do not agree on whether it is seen from above or "
         "from below", "Hold the phone at the height of the surface and take another photo."),
    Flag("surface-covered", "Something covers the surface",
         "Keep fingers and labels off the scale."),
    Flag("surface-cut-off", "The photo ends at the surface, or just beside it",
         "Take the whole chamber into the photo, with some room above and below."),
    Flag("below-lowest-mark", "The surface is below the lowest mark", ""),
    Flag("above-highest-mark", "The surface is above the highest mark",
         "Follow the local rule for a full chamber."),
    # --- several photos
    Flag("photos-disagree", "The photos contradict each other",
         "See what changed between them, and take new ones."),
    Flag("photos-apart-in-time", "The photos were taken some time apart",
         "Take them one right after the other."),
    # --- the level
    Flag("no-gravity-cue", "Nothing in the photo shows the vertical",
         "Get the hanging cord or the pole into the picture."),
    Flag("plumb-cues-disagree", "Cord, pole and panel do not agree on the vertical",
         "See that the pole stands straight and the panel and the cord hang free."),
    Flag("pose-ambiguous", "A card could be seen two ways round",
         "Go nearer or straight in front."),
    Flag("card-small", "A card is small in the photo", "Go nearer."),
    Flag("zero-card-missing", "The zero card was not found",
         "Get the whole zero card in the picture."),
    Flag("landmark-missing", "The landmark card was not found and no landmark was tapped",
         "Hold the landmark card's pointer at the landmark, or tap the landmark."),
)

FLAGS: dict[str, Flag] = {flag.name: flag for flag in _ALL}


def describe(name: str) -> Flag:
    """The flag of that name; an unknown name is a programming error (KeyError)."""
    return FLAGS[name]
