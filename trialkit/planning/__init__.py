"""Planning a trial: randomise, map, sheets, calendar, and how much is enough."""

from trialkit.planning.how_much import Enough, how_much
from trialkit.planning.known import Known, Seen
from trialkit.planning.outlook import SoFar, outlook
from trialkit.planning.plan import PlacePlan, Plan, make_plan, open_places, plan, write_plan
from trialkit.planning.randomise import Randomisation, randomise, write_randomisation
from trialkit.planning.write import Stamp

__all__ = [
    "Enough",
    "Known",
    "PlacePlan",
    "Plan",
    "Randomisation",
    "Seen",
    "SoFar",
    "Stamp",
    "how_much",
    "make_plan",
    "open_places",
    "outlook",
    "plan",
    "randomise",
    "write_plan",
    "write_randomisation",
]
