"""All scenarios by name. Each is named by the sentence that it holds the program to."""

MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86_400.0
ALL = {}
# Played before all others: some begin with the bank as it leaves it.
FIRST = "truth"


class Scenario:
    """A sentence and how it is played."""

    def __init__(self, sentence, play, long):
        self.sentence, self.play, self.long = sentence, play, long


def scenario(sentence, long=False):
    """Registers a function under its name. Long ones are begun first."""
    def add(play):
        ALL[play.__name__] = Scenario(sentence, play, long)
        return play
    return add
