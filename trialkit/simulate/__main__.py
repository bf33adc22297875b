"""``python -m trialkit.simulate FOLDER`` writes the field files of an invented study."""

import sys

from trialkit.simulate import write_study

write_study(sys.argv[1])
