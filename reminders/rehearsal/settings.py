"""Settings of a rehearsal: the program's own, cut off from the clinic's database, keys and ways out.

To be imported before anything else of the program, in a process of its own.
"""

from reminders.rehearsal.surroundings import cut_off

cut_off()

from clinic.settings import *  # noqa: E402, F403  # it reads the environment as it stands now
