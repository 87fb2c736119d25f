"""What do the study files of the invented studies say of a decision, and of what others have published?"""

from __future__ import annotations

_DECISION = """\

# what is to be decided, and every figure that lives and money need; all figures here are invented
[decision]
question = "Should passengers be called back every second year, every fourth, or not at all?"
today = "every second year"  # the policy that all others are held against
years = 10  # how far lives and money are counted on
money = "EUR"
discount_percent = [3, 7]  # lives and money a year from now count for less: told at both rates
longest_months = 48  # the longest that may lie between two courses
longest_source = "transport contract of the Vesper Shelf (invented)"
draws = 20000  # how many plausible worlds are drawn, 2000 to 100000

[[decision.policy]]
name = "every second year"
months = 24  # months between courses
trained = {crew = 1, "passengers in front" = 0.9, "passengers in the middle" = 0.9, "passengers in the rear" = 0.9}

[[decision.policy]]
name = "every fourth year"
months = 48
trained = {crew = 1, "passengers in front" = 0.9, "passengers in the middle" = 0.9, "passengers in the rear" = 0.9}
cuts = "every second refresher"

[[decision.policy]]
name = "crew alone, and lit exits"
months = 24
trained = {crew = 1}  # a group that is not named has nobody kept trained
spends = ["lights around the exits"]
cuts = "all passenger courses"

[[decision.group]]
name = "crew"
roles = ["flight_crew", "technical_crew"]
people = {value = 120, source = "staff list (invented)", quality = "invented"}
leavers_a_year = {value = 0.1, low = 0.06, high = 0.16, shape = "lognormal", source = "staff office (invented)", \
quality = "invented"}
months_since = {value = 11, source = "training register (invented)", quality = "invented"}

[[decision.group]]
name = "passengers in front"
roles = ["passenger"]
zone = "front"  # a zone of [cabin.CLASS]
people = {value = 260, source = "seat plans of a year (invented)", quality = "invented"}
leavers_a_year = {value = 0.2, low = 0.12, high = 0.3, shape = "lognormal", source = "heliport passes (invented)", \
quality = "invented"}
months_since = {value = 13, source = "training register (invented)", quality = "invented"}

[[decision.group]]
name = "passengers in the middle"
roles = ["passenger"]
zone = "middle"
people = {value = 980, source = "seat plans of a year (invented)", quality = "invented"}
leavers_a_year = {value = 0.2, low = 0.12, high = 0.3, shape = "lognormal", source = "heliport passes (invented)", \
quality = "invented"}
months_since = {value = 14, source = "training register (invented)", quality = "invented"}

[[decision.group]]
name = "passengers in the rear"
roles = ["passenger"]
zone = "rear"
people = {value = 640, source = "seat plans of a year (invented)", quality = "invented"}
leavers_a_year = {value = 0.2, low = 0.12, high = 0.3, shape = "lognormal", source = "heliport passes (invented)", \
quality = "invented"}
months_since = {value = 17, source = "training register (invented)", quality = "invented"}

[[decision.spend]]
name = "lights around the exits"
cost_a_year = {value = 160000, low = 110000, high = 230000, shape = "lognormal", source = "offer (invented)", \
quality = "invented"}
deaths_averted = {value = 0.06, low = 0.01, high = 0.15, shape = "beta", source = "two engineers asked (invented)", \
quality = "invented"}
overlap = {value = 0.2, low = 0.05, high = 0.45, shape = "beta", source = "two engineers asked (invented)", \
quality = "invented"}

[decision.inputs]
mishaps = {value = 3, hours = 200000, source = "mishaps in the water over hours flown (invented)", quality = "invented"}
hours_a_year = {value = 20000, low = 17000, high = 23000, shape = "normal", source = "flight plan (invented)", \
quality = "invented"}
first_course_cost = {value = 1100, source = "price list of the school (invented)", quality = "invented"}
#REFRESHER
travel_cost = {value = 240, low = 150, high = 380, shape = "lognormal", source = "travel office (invented)", \
quality = "invented"}
cover_cost = {value = 420, low = 250, high = 700, shape = "lognormal", source = "pay office (invented)", \
quality = "invented"}
programme_cost_a_year = {value = 60000, low = 45000, high = 80000, shape = "lognormal", source = "books (invented)", \
quality = "invented"}
half_life_months = {value = 24, low = 10, high = 60, shape = "lognormal", source = "two instructors asked (invented)", \
quality = "invented"}
deaths_per_course = {value = 0.000001, low = 0.0000002, high = 0.000005, shape = "lognormal", \
source = "course records (invented)", quality = "invented"}
injuries_per_course = {value = 0.002, low = 0.001, high = 0.004, shape = "lognormal", \
source = "course records (invented)", quality = "invented"}
injury_cost = {value = 4000, low = 2000, high = 8000, shape = "lognormal", source = "insurer (invented)", \
quality = "invented"}
#VALUE
courses_a_month = {value = 95, source = "places at the school (invented)", quality = "invented"}
overdue_now = {value = 120, source = "training register (invented)", quality = "invented"}
"""

_REFRESHER = """\
refresher_cost = {value = 750, source = "price list of the school (invented)", quality = "invented"}"""
_NO_REFRESHER = """\
# refresher_cost is left out on purpose: the paper says that it is missing, and where such a figure is usually found"""
_VALUE = """\
value_of_life = {value = 5000000, source = "the board's own (invented)", quality = "invented"}"""
_NO_VALUE = """\
# value_of_life = {value = ..., source = "...", quality = "assumed"}  # never taken from elsewhere: the board says"""

#: What others have published, for the studies that weigh it.
OTHER_STUDIES = """\

# what others have published, each table of counts apart; all of these are invented
[[other_study]]
name = "Grey Sound, light aircraft (invented)"
source = "invented for this demo"
population = "alive at immersion, all roles"
currency = "course within 36 months"
risk_of_bias = "some"  # low, some or high
trained_lived = 41
trained_died = 9
untrained_lived = 30
untrained_died = 17

[[other_study]]
name = "Ember Delta (invented)"
source = "invented for this demo"
population = "passengers alive at immersion"
currency = "course within 24 months"
risk_of_bias = "some"

[[other_study.stratum]]  # one publication told by circumstance: put together first
name = "stayed upright"
trained_lived = 52
trained_died = 5
untrained_lived = 37
untrained_died = 6

[[other_study.stratum]]
name = "capsized"
trained_lived = 21
trained_died = 12
untrained_lived = 14
untrained_died = 15

[[other_study]]
name = "Long Banks roster study (invented)"
source = "invented for this demo"
population = "alive at immersion, all roles"
currency = "course within 48 months"
risk_of_bias = "low"
trained_lived = 64
trained_died = 14
untrained_lived = 25
untrained_died = 7

[[other_study]]
name = "Ninefold Reach, first report (invented)"
source = "invented for this demo"
population = "alive at immersion, all roles"
currency = "any hands-on course"
overlap = "Ninefold Reach"  # studies of the same mishaps share a name here, and one of them counts
risk_of_bias = "some"
trained_lived = 18
trained_died = 6
untrained_lived = 22
untrained_died = 15

[[other_study]]
name = "Ninefold Reach, second report (invented)"
source = "invented for this demo"
population = "alive at immersion, passengers"
currency = "any hands-on course"
overlap = "Ninefold Reach"
risk_of_bias = "some"
trained_lived = 15
trained_died = 5
untrained_lived = 20
untrained_died = 12

[[other_study]]
name = "Survivors of Amber Shoals (invented)"
source = "invented for this demo"
population = "survivors asked"
currency = "any hands-on course"
risk_of_bias = "high"
trained_lived = 48
untrained_lived = 12
died = 40  # training of the dead not told: bounds only
"""


def decision_text(*, refresher: bool, value: bool) -> str:
    """The section ``[decision]``, with or without what a refresher costs and what a life is worth to the board."""
    text = _DECISION.replace("#REFRESHER", _REFRESHER if refresher else _NO_REFRESHER)
    return text.replace("#VALUE", _VALUE if value else _NO_VALUE)
