"""Impact reviews at QA's desk: those that are open and those that are done, as the address says, with what opened each."""

from calib.errors import BadInputError
from calib.faces.answers import reviews as answer
from calib.faces.pages.frame.form import choices
from calib.faces.pages.frame.heads import heads
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.impact.list_reviews import OPEN, REVIEW_STATES, ReviewWish, list_reviews

pages = Pages()
REVIEWS = "/reviews"
ANY_STATE = "any"
_ASKED = ("state", "instrument", "job", "sort")
_COLUMNS = (
    ("Review", "newest"),
    ("Instrument", "instrument"),
    ("Open lines", "open lines"),
)  # and the order each leads to


@pages.shows(REVIEWS, menu="Reviews")
def reviews_page(visit: Visit) -> Filled:
    """Reviews that fit, in an order; the open ones where nothing else is asked for."""
    asked = visit.asked_for(_ASKED)
    state, sort, wrong = asked.get("state", OPEN), asked.get("sort", "newest"), ""
    listed: list[Content] = []
    try:
        wish = ReviewWish(None if state == ANY_STATE else state, asked.get("instrument"), asked.get("job"))
        listed = answer.document(list_reviews(visit.reading(), wish, sort))["reviews"]
    except BadInputError as error:
        wrong = str(error)
    content = {
        "reviews": [each | {"state": answer.review_state(each), "what": answer.what_text(each)} for each in listed],
        "asked": asked | {"state": state},
        "is_asked": bool(asked),
        "states_shown": [*choices(REVIEW_STATES), (ANY_STATE, ANY_STATE)],
        "heads": heads(REVIEWS, _COLUMNS, asked, sort, descending=("newest", "open lines")),
        "wrong": wrong,
    }
    return Filled("reviews.html", content, title="Impact reviews", status=422 if wrong else 200)
