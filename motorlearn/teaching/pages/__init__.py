"""Pages that need no installation: one HTML file each, with everything inside and no network.

shell      One page out of title, body, styles, scripts and data; forbids every connection
shell.css  What all pages share: type, colours, buttons of 44 px, focus, reduced motion
"""

from motorlearn.teaching.pages.shell import SHELL_STYLE, page_of

__all__ = ["SHELL_STYLE", "page_of"]
