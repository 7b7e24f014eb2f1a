"""The state of a job for whoever asks between two judgements: the same that was told."""

from pathlib import Path

from tests.support.visiting import CALM, visited
from watcher.judge.job_action import Action
from watcher.messages.reasons import Speaker
from watcher.service.job_actions import job_actions


async def test_it_is_what_the_judgement_told_and_writes_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        await v.service.judged()
        v.service.clock.at += 60
        await v.service.post(**CALM | {"gust": "19 mph"})
        await v.service.judged()
        await v.quiet()
        watch = v.service.watch
        assert watch.snapshot is not None
        speaker = Speaker(watch.transactions.plan.farm)
        with watch.transactions.store.reading() as session:  # would refuse to be written to
            found = job_actions(session, speaker, watch.snapshot)
        assert found[1].action is Action.STOP
        assert found == dict(watch.snapshot.actions)


async def test_every_surface_says_the_state_and_never_suitable(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        v.service.clock.at += 60
        await v.service.post(**CALM | {"gust": "19 mph"})
        await v.service.judged()
        await v.quiet()
        for page in ("/", "/?rest=1", "/jobs", "/jobs/1", "/fields/hill"):
            assert "Stop" in (await v.web.get(page)).text, page
        ranking = (await v.web.get("/api/v1/ranking")).json()
        assert [job["action"] for job in ranking["jobs"]] == ["stop"]
        fields = {f["field"]: f for f in ranking["spray"] + ranking["rest"]}
        assert fields["hill"]["job"]["action"] == "stop"
        assert fields["creek_side"]["job"] is None
