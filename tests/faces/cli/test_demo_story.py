"""What the demo tells: the damper that was found half closed, and what was read before and after it was opened."""

from tests.command import calib

JOB, SET = "LM-27", "S1-4 catalogue"


def readings_of(answer):
    return {(each["outlet"], each["observed_at"][11:16]): each["stage"] for each in answer["readings"]}


def test_readings_around_the_damper_that_was_set_say_their_stage(demo_records):
    stages = readings_of(calib("reading", "list", JOB, "--json", records=demo_records).document)
    assert (stages[SET, "09:37"], stages[SET, "10:24"]) == ("before adjustment", "after adjustment")


def test_conformity_says_that_it_judges_a_flow_after_adjustment(demo_records):
    answer = calib("conformity", JOB, "--json", records=demo_records).document
    (judged,) = [each for each in answer["outlets"] if each["outlet"] == SET]
    assert judged["stage"] == "after adjustment"
    assert answer["risks"]["decisions"][-1]["outlets_after_adjustment"] == 1
    said = " ".join(calib("conformity", JOB, records=demo_records).out.split())
    assert "mean specific risk, after setting to the reading" in said
