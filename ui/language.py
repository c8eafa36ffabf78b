"""The one door of words to translation: `translate("run", "Stop")`, in the context of a room.

Sentences with values in them are translated whole, and filled in after: `translate("run", "take {n}").format(n=3)`.
"""

from PyQt6.QtCore import QCoreApplication

translate = QCoreApplication.translate
