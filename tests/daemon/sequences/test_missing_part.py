"""What a missing part causes by itself is no fault: the shipped boot watch on the simulated device, in its own time."""

from __future__ import annotations

import pytest

from wakerail.family_plans import load_family_plan
from wakerail.jobs import Happened, fold
from wakerail.jobs.isolation import isolation_of, observed
from wakerail.jobs.run_tells import RunSeen, told_by
from wakerail.planning.course import opened
from wakerail.planning.observations import BootWatched
from wakerail_kit.events import OnsetSeen, RestartSeen
from wakerail_kit.families import load_family
from wakerail_kit.job_events import Intake, JobOpened
from wakerail_kit.outcome import Finding
from wakerail_sim.bench import parse_fault
from wakerail_sim.world import World

OFF = frozenset({"front-sensor"})


@pytest.fixture(name="boot")
def _boot(project, make_bench):
    family = load_family(project / "config" / "devices" / "fenmoor-t3.yaml")
    sequence = (project / "config" / "sequences" / "boot-watch.yaml").read_text()

    async def boot(*faults, unplugged):
        """Run the boot watch on a device; return the verdict, and the time from boot to boot if it restarted."""
        bench = make_bench({"psu": "power-source"})
        world = World(family, bench.clock, faults=tuple(map(parse_fault, faults)))
        world.device.unplugged |= unplugged

        def drawn(_now_s):
            with world.present():
                if not world.supply.output_on:
                    world.supply.voltage_v, world.supply.current_limit_a = 3.85, 3.0
                    world.set_output(True)
                return (*world.meter.read(world.now_step), 0.0)

        def prompted(words):
            if words.startswith("record_prompt"):
                with world.present():
                    world.press_button()

        bench.at = prompted
        psu = bench.instruments["psu"]
        psu.load, psu.rate_hz = drawn, 10.0
        run, _ = bench.start(sequence, {"window": "200 s"}, job="t-1")
        verdict = await bench.verdict(run)
        begun_s = next(one.at_s for one in bench.events() if isinstance(one, OnsetSeen))
        again_s = next((one.again_s for one in bench.events() if isinstance(one, RestartSeen)), None)
        return verdict, None if again_s is None else again_s - begun_s

    return boot


@pytest.fixture(name="tells")
def _tells(project):
    """What a boot without the front sensor tells, after one whose fault came every so often with all connected."""
    plan = load_family_plan(project / "config" / "devices" / "fenmoor-t3.yaml")

    def tells(verdict, interval_s, usual_s):
        first = observed("t-1", 1, BootWatched(frozenset(), 0.99, usual_s, boots=1))
        events = [JobOpened(job="t-1", family=plan.family, intake=Intake(symptom="restarts")), first]
        job = fold(Happened(event, "2026-11-26T09:00:00Z", "bench-1", 1) for event in events)["t-1"]
        before = isolation_of(job, plan, ())
        run = RunSeen(verdict, opened(plan, OFF), interval_s, "near-three-minutes")
        told = told_by(before, run, frozenset({"near-three-minutes"}))
        (seen,) = [one for one in told.observations if isinstance(one, BootWatched)]
        after = before.with_seen(seen).course.belief.share["front-sensor"]
        assert told.by_itself == (interval_s > 100.0)
        return told.says, after / before.course.belief.share["front-sensor"]

    return tells


async def test_a_restart_for_want_of_the_front_sensor_is_no_fault(boot, tells):
    verdict, interval_s = await boot("missing-part-restart:front-sensor", unplugged=OFF)
    assert (verdict.finding, interval_s) == (Finding.RESTARTING, pytest.approx(180.4, abs=0.5))
    says, likelier = tells(verdict, interval_s, 6.0)  # a fault as fast as that left with the sensor
    assert "that is no fault. It came that far, so the boot counts as clean." in says
    assert likelier > 3.0
    says, likelier = tells(verdict, interval_s, 170.0)  # one as slow cannot be told from the want of it
    assert "that is no fault. So it tells nothing of the cause." in says
    assert likelier == pytest.approx(1.0)


async def test_a_fault_that_stays_without_the_front_sensor_is_one(boot, tells):
    verdict, interval_s = await boot("missing-part-restart:front-sensor", "part-restart:scanner", unplugged=OFF)
    assert (verdict.finding, interval_s) == (Finding.RESTARTING, pytest.approx(6.0, abs=0.5))
    says, likelier = tells(verdict, interval_s, 6.0)
    assert says == ""
    assert likelier < 0.2
