"""What verbs answer to a customer where something cannot be done, as the catalogues hold it; see `rule_phrases`."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_noop as _

DAYS: Final = (
    _("%(iso)s lies in the future; give the day on which it happened."),
    _("you keep this vehicle since %(iso)s; give a day from then on."),
    _("%(iso)s is not between %(iso2)s and %(iso3)s."),
    _("%(iso)s lies in the past; choose today or later."),
    _("%(iso)s is more than %(n)s days ahead; choose an earlier day."),
    _("%(iso)s is not ahead; give a later day."),
    _("%(iso)s lies before the start of the present habits, %(iso2)s."),
)
FORMS: Final = (
    _("%(text)s is not known; use one of %(text2)s."),
    _("%(text)s is not any, morning or afternoon."),
    _("%(text)s hours is not between 0 and 10000."),
    _("%(text)s is not between 0 and 400."),
    _("%(text)s is not between 0 and 500000."),
    _("it belongs to another vehicle."),
    _("on %(substrate)s beads of water say nothing; choose another."),
    _("write %(n)s characters at most."),
    _("it already made a photo of another vehicle; make a new one."),
    _("give both ends of the quiet hours, or neither."),
    _("the quiet hours end when they begin; give another time."),
    _("leave at least four hours of the day in which a mail may come."),
    _("two years at most; to end reminders for good, say no to them."),
    _("type the name as it stands here: %(text)s."),
    _("This person is erased already."),
    _("A mail to this person is being handed over just now; try again in some minutes."),
    _("This inspection is sealed in report %(n)s; write an addendum to that report instead."),
)
VISITS: Final = (
    _("This visit is already settled: %(state)s."),
    _("This visit has changed meanwhile; look at it again and decide anew."),
)
STATES: Final = (
    _("asked for"), _("other days offered"), _("booked"), _("done"), _("cancelled"), _("declined"),
    _("did not come"),
)  # fmt: skip
PLACES: Final = (
    _("Zip code %(text)s is not in the list; give latitude, longitude instead."),
    _("Give a city, or latitude and longitude such as 58.1, 6.7."),
    _("%(text)s fits %(n)s places: %(text2)s. Write one of them, or latitude, longitude."),
    _("%(text)s is not among the %(n)s cities that come with the service. Give the pin instead: latitude and longitude "
      "with north and east positive, such as 58.1, 6.7."),
    _("Place %(text)s: latitude lies in -90 to 90 and longitude in -180 to 180 degrees; check whether the two are "
      "swapped."),
)  # fmt: skip
PHOTOS: Final = (
    _("The file: %(words)s"),
    _("%(text)s: the file is empty"),
    _("%(text)s: the picture is damaged or cut off and cannot be opened to its end"),
    _("%(text)s: this is a HEIC picture, which browsers do not show"),
    _("%(text)s: by its content this is %(kind)s, no photo"),
    _("%(text)s: by its content this is no picture that we know"),
    _("%(text)s: the picture is damaged: %(words)s"),
    _("%(text)s: the picture has no width or no height"),
    _("%(text)s: %(n)s × %(n2)s pixels is longer than %(n3)s pixels"),
    _("%(text)s: a second file hides in the picture: %(kind)s"),
    _("%(text)s: %(n)s MB is more than the %(n2)s MB that a photo may have"),
    _("%(text)s: %(n)s × %(n2)s pixels are more than %(n3)s million pixels"),
    _("%(text)s: it has more than %(n)s million pixels"),
    _("Choose the photo again; it may not have been copied whole."),
    _("Send it once more from the camera or phone, or take it again."),
    _("On the phone choose the most compatible format (JPEG) in the camera's settings, or share it as JPEG."),
    _("Choose a JPEG, PNG or WebP file; a new file name alone does not change what is inside."),
    _("Take the photo again."),
    _("Crop it to what it shows, or take an ordinary photo."),
    _("Open the picture, save it anew as JPEG and send that."),
    _("Send it in a smaller size, or as JPEG."),
    _("Take or save it in a smaller resolution."),
    _("it ends inside its headers"),
    _("its parts do not follow each other"),
    _("one of its parts has no length"),
    _("it does not say how large it is"),
    _("a checksum in it does not fit"),
)
KINDS_OF_FILE: Final = (
    _("a GIF picture"), _("a BMP picture"), _("a TIFF or raw camera picture"),
    _("a layered picture of an image editor"), _("an icon"), _("a JPEG 2000 picture"), _("a JPEG XL picture"),
    _("a PDF document"), _("a ZIP archive or office document"), _("a ZIP archive"), _("a compressed archive"),
    _("a RAR archive"), _("a 7z archive"), _("a program"), _("a script"), _("a sound or video file"), _("a video"),
    _("a sound file"), _("a PostScript document"), _("a web page"), _("a drawing with script"),
    _("a web page with script"), _("an AVIF picture"), _("a drawing (SVG)"), _("a web page or XML document"),
    _("a text"),
)  # fmt: skip
CHECKS: Final = (
    _("%(words)s has changed since"),
    _("its text is not the one that was sealed: the digest does not match"),
    _("its text cannot be read any more"),
    _("its text is not in the canonical form"),
    _("the row of the signature is gone"),
    _("name, plate or signature is not the one that was sealed"),
    _("name and signature were erased at the person's request; their hash stays sealed"),
    _("it belongs to another inspection than the one that was sealed"),
    _("the journal does not know of its sealing"),
    _("the journal noted another digest when it was sealed"),
    _("the chain is broken between report %(n)s and this report"),
    _("the chain is broken between the start and this report"),
    _("photo %(n)s: its file is missing"),
    _("photo %(n)s: its file is not the one that was sealed"),
    _("finding %(n)s was removed from the record"),
    _("reading %(n)s was removed from the record"),
    _("photo %(n)s was removed from the record"),
    _("a finding was added to the record after sealing"),
    _("a reading was added to the record after sealing"),
    _("a photo was added to the record after sealing"),
    _("finding %(n)s: %(field)s has changed since"),
    _("reading %(n)s: %(field)s has changed since"),
    _("photo %(n)s: %(field)s has changed since"),
    _("the inspection: %(field)s has changed since"),
    _("the %(field)s is not as sealed"),
)
TOO_LARGE: Final = (
    _("This form with its files is %(n)s MB; %(n2)s MB at most can be sent at once."),
    _("More than %(n)s files came at once."),
    _("The text is more than %(n)s MB."),
    _("More than %(n)s fields came at once."),
)
PHRASES: Final = (*DAYS, *FORMS, *VISITS, *PLACES, *PHOTOS, *CHECKS, *TOO_LARGE)
