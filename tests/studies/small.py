"""A job small enough to plan in a test: a plate tee of 24 mm, elastic model, two fillets."""

from concurrent.futures import Future

from weldsim.studies.plan.branches import run_branch
from weldsim.studies.plan.space import parse_plan

TEXT = """title = "Small plate tee"
[part]
kind = "plate-tee"
length = "24 mm"
base_width = "40 mm"
base_thickness = "4 mm"
stem_height = "20 mm"
stem_thickness = "4 mm"
leg = "3 mm"
material = "carbon-steel"
[clamping]
kind = "free"
[[clamp]]
name = "bed"
at = ["base front edge", "base back edge"]
[arc]
process = "141"
current = "100 A"
voltage = "11 V"
efficiency = 0.77
speed = "3 mm/s"
[schedule]
order = ["front:+x", "back:-x"]
pause = "20 s"
[[gauge]]
name = "pointer"
kind = "pointer"
at = "stem top"
aim = "+z"
up = "+y"
throw = "2 m"
[solve]
model = "elastic"
end = "cold"
[plan]
measure = "pointer"
tolerance = "1 mrad"
grade = "sketch"
confirm = 1
confirm_grade = "coarse"
"""


def small_plan(*changes):
    """The plan with changes as --set takes them."""
    return parse_plan(TEXT, "small.toml", changes)


class Here:
    """An executor of one: this process. Counts what it is asked to do."""

    def __init__(self):
        self.jobs = []

    def submit(self, job):
        self.jobs.append(job)
        future = Future()
        try:
            future.set_result(run_branch(job))
        except Exception as error:
            future.set_exception(error)
        return future

    def wait(self, futures):
        return futures

    def died(self, error):
        return False
