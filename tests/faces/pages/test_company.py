"""What the company is called, said in the browser as the command says it. The company is invented."""

import json

from tests.command import calib
from tests.faces.cli.test_company_command import picture
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of

PAGE = "/company"
SAID = {"name": "Brook & Vane Ltd", "address": "3 Weir Road, Alder", "contact": "", "base_address": ""}


def shown(served):
    return json.loads(calib("company", "show", "--json", records=served.records).out)["company"]


def test_qa_says_it_with_its_mark_and_takes_the_mark_away_again(served):
    quinn = served.signed_in("Quinn")
    assert "Nobody has said what it is called" in text_of(quinn.get(PAGE))
    mark = {"mark": ("mark.png", picture())}
    assert quinn.fill_in(PAGE, files=mark, **SAID).status_code == 303
    known = shown(served)
    assert (known["name"], known["contact"], known["mark"]["name"]) == ("Brook & Vane Ltd", None, "mark.png")
    assert quinn.get(f"/photographs/{known['mark']['sha256']}").content == picture()
    assert "Take its mark away" in quinn.get(PAGE).text
    assert quinn.fill_in(PAGE, **SAID, without_mark="yes").status_code == 303
    assert shown(served) == known | {"mark": None}
    assert "Take its mark away" not in quinn.get(PAGE).text


def test_what_is_wrong_stands_beside_its_field_and_nothing_is_written(served):
    quinn = served.signed_in("Quinn")
    answer = quinn.fill_in(PAGE, files={"mark": ("mark.pdf", b"%PDF-1.7\n%%EOF\n")}, **SAID)
    assert (answer.status_code, "PNG or JPEG" in text_of(answer), shown(served)) == (422, True, None)
    answer = quinn.fill_in(PAGE, **SAID | {"name": SCRIPT, "base_address": "javascript:alert(1)"})
    assert (answer.status_code, "https:// or http://" in text_of(answer)) == (422, True)
    assert runs_nothing(answer)
    quinn.fill_in(PAGE, **SAID)
    assert "what is to change" in text_of(quinn.fill_in(PAGE, **SAID))


def test_others_see_it_and_say_nothing(served):
    tom = served.signed_in("Tom")
    assert "Say it so" not in tom.get(PAGE).text
    assert tom.fill_in(PAGE, **SAID).status_code == 403
