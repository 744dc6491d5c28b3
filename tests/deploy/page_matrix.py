"""Who may see and do what on pages; the rules are as in matrix.py."""

from tests.deploy.matrix import ANYBODY, AccessRow

# A page has no tokens: whoever is not in a session is sent to the page to log in. What is posted here is an empty form,
# which has a token of its own, and is refused (422) before the service asks who it is; that the service asks is in the
# rows above.
LOGIN = (2, 302, 302, 302, 302, 2, 302)
LOGIN_EMPTY = (422, 302, 302, 302, 302, 422, 302)
NO_LINK = (410, 410, 410, 410, 410, 410, 410)  # nobody was given one; each kind is tried in test_login_links.py
PUBLIC = (2, 2, 2, 2, 2, 2, 2)
PUBLIC_NO_METHOD = (405, 405, 405, 405, 405, 405, 405)
SEEN_LOGGED_IN = (302, 2, 2, 2, 2, 302, 2)
SEEN_AT_THE_SITE = (302, 404, 2, 2, 2, 302, 404)
SEEN_IF_AUTHORISED = (302, 404, 403, 403, 2, 302, 404)
PAGE_NO_DOCUMENT_YET = (302, 404, 409, 409, 409, 302, 404)
NOT_THERE = (302, 404, 404, 404, 404, 302, 404)
SEEN_IF_OWN = (302, 404, 2, 404, 2, 302, 404)  # the colleague's
SEEN_BY_INSTRUCTORS = (302, 2, 403, 403, 2, 302, 403)  # the stranger instructs at the other site
SEEN_IF_MAINTAINING = SEEN_BY_INSTRUCTORS
EMPTY_FORM_IF_MAINTAINING = (302, 422, 403, 403, 422, 302, 403)
SEEN_BY_ADMINISTRATORS_ALONE = (302, 404, 404, 404, 2, 302, 2)  # nobody else knows of what is another's
EMPTY_FORM_OF_ADMINISTRATORS_ALONE = (302, 404, 404, 404, 422, 302, 422)
SENT_ON = (302, 302, 302, 302, 302, 302, 302)
EMPTY_FORM_IF_OWN = (302, 404, 422, 404, 422, 302, 404)
EMPTY_IF_AUTHORISED = (302, 404, 403, 403, 422, 302, 404)
NO_METHOD = (302, 405, 405, 405, 405, 302, 405)
NEVER = (405, 405, 405, 405, 405, 405, 405)
FOR_NO_PERSON = (404, 404, 404, 404, 404, 404, 404)
SESSIONS_ENDED = (302, 303, 303, 303, 303, 302, 303)
SEEN_BY_ADMINISTRATORS = (302, 403, 403, 403, 2, 302, 2)
EMPTY_FORM_OF_ADMINISTRATORS = (302, 403, 403, 403, 422, 302, 422)
DONE_BY_ADMINISTRATORS = (302, 403, 403, 403, 302, 302, 302)
EMPTY_FORM = (302, 422, 422, 422, 422, 302, 422)
EMPTY_FORM_AT_THE_SITE = (302, 404, 422, 422, 422, 302, 404)


def page(
    name: str, path: str, rule: tuple[int, ...], posted: tuple[int, ...] = NO_METHOD, right: str = "control"
) -> tuple[AccessRow, AccessRow]:
    """What a page answers to those who look, and to those who post an empty form."""
    looked = AccessRow(name=name, path=path, rule=rule, right=right)
    return looked, AccessRow(name=name, path=path, rule=posted, right=right, method="POST")


def _act(name: str, path: str, right: str = "control") -> tuple[AccessRow, AccessRow]:
    return page(name, path, SEEN_IF_AUTHORISED, EMPTY_FORM_AT_THE_SITE, right)


def _administrators(name: str, path: str) -> tuple[AccessRow, AccessRow]:
    return page(name, path, SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS, "administrator")


PRACTICE = "practice/reels/<int:exercise_id>"
SHEET = "documents/practice/<slug:code>/<slug:difficulty>/<int:seed>/<slug:part>.pdf"
REEL, SETUP, COUNT = "reels/<path:serial>", "setup-values/<int:setup_id>", "inspections/<int:inspection_id>"
FLAG, THIRD = "drift/flags/<int:flag_id>", f"{COUNT}/third-readings"

PAGES = (
    *page("login", "/login", LOGIN, LOGIN_EMPTY),
    *page("link", "/link", NO_LINK, NO_LINK),
    *page("logout", "/logout", NO_METHOD, SENT_ON),
    *page("length-unit", "/length-unit", NO_METHOD, SENT_ON),
    *page("healthz", "/healthz", ANYBODY, NEVER),
    *page("readyz", "/readyz", ANYBODY, NEVER),
    *page("metrics", "/metrics", FOR_NO_PERSON, NEVER),
    *page("account", "/account", SEEN_LOGGED_IN),
    *page("account/password", "/account/password", SEEN_LOGGED_IN, EMPTY_FORM),
    *page("account/second-factor", "/account/second-factor", SEEN_LOGGED_IN, SEEN_LOGGED_IN),
    *page("account/sessions", "/account/sessions", NO_METHOD, SESSIONS_ENDED),
    *page("account/notices", "/account/notices", SEEN_LOGGED_IN, EMPTY_FORM),
    *page("people", "/people", SEEN_BY_ADMINISTRATORS, right="administrator"),
    *_administrators("people/add", "/people/add"),
    *_administrators("second-administrator", "/second-administrator"),
    *_administrators("people/<username:username>/change", "/people/newcomer/change"),
    *_administrators("people/<username:username>/link", "/people/newcomer/link"),
    *_administrators("people/<username:username>/posting", "/people/newcomer/posting"),
    *_administrators("postings/<int:posting_id>/end", "/postings/{posting}/end"),
    *page("sites", "/sites", SEEN_BY_ADMINISTRATORS, right="administrator"),
    *_administrators("authorisations", "/authorisations"),
    *_administrators("authorisations/<int:authorisation_id>/end", "/authorisations/{authorisation}/end"),
    *_administrators("sites/add", "/sites/add"),
    *_administrators("sites/<slug:code>/change", "/sites/kettle-point/change"),
    *page("people/<username:username>/enrolment", "/people/newcomer/enrolment", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("people/<username:username>/second-factor", "/people/newcomer/second-factor", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("people/<username:username>/unlocking", "/people/newcomer/unlocking", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("audit/verification", "/audit/verification", SEEN_BY_ADMINISTRATORS, DONE_BY_ADMINISTRATORS, "administrator"),
    *page("imports/sheet", "/imports/sheet", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *_administrators("imports/sheet/<uuid:pk>", "/imports/sheet/{upload}"),
    *page("imports/sheet/<uuid:pk>/refused.csv", "/imports/sheet/{upload}/refused.csv", SEEN_BY_ADMINISTRATORS,
          right="administrator"),
    *page("imports/sheet/<uuid:pk>/storing", "/imports/sheet/{upload}/storing", DONE_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *_administrators("imports/sheet/<uuid:pk>/mapping", "/imports/sheet/{upload}/mapping"),
    *page("imports/mappings", "/imports/mappings", SEEN_BY_ADMINISTRATORS, right="administrator"),
    *_administrators("imports/mappings/<int:mapping_id>/name", "/imports/mappings/{mapping}/name"),
    *_administrators("imports/mappings/<int:mapping_id>/end", "/imports/mappings/{mapping}/end"),
    *page("imports", "/imports", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("tasks", "/tasks", SEEN_BY_ADMINISTRATORS, right="administrator"),
    *page("tasks/<uuid:pk>", "/tasks/{task}", SEEN_LOGGED_IN),
    *page("tasks/<uuid:pk>/stop", "/tasks/{task}/stop", SEEN_BY_ADMINISTRATORS, DONE_BY_ADMINISTRATORS,
          "administrator"),
    *page("tasks/<uuid:pk>/resumption", "/tasks/{stopped_task}/resumption", SEEN_BY_ADMINISTRATORS,
          DONE_BY_ADMINISTRATORS, "administrator"),
    *page("tasks/<uuid:pk>/retry", "/tasks/{failed_task}/retry", SEEN_LOGGED_IN, SENT_ON),
    *page("tasks/<uuid:pk>/stamp", "/tasks/{task}/stamp", SEEN_LOGGED_IN),
    *page("publications", "/publications", SEEN_LOGGED_IN),
    *page("publications/add", "/publications/add", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS,
          "administrator"),
    *page("publications/<int:publication_id>/end", "/publications/{publication}/end", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("checkpoints", "/checkpoints", SEEN_LOGGED_IN),
    *page("checkpoints/<int:entries>/witnesses", "/checkpoints/{checkpoint}/witnesses", SEEN_LOGGED_IN, EMPTY_FORM),
    *page("witnesses/add", "/witnesses/add", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("witnesses/<int:witness_id>/end", "/witnesses/{witness}/end", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("types", "/types", SEEN_LOGGED_IN),
    *page("types/add", "/types/add", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("types/drum", "/types/drum", SEEN_BY_ADMINISTRATORS, SEEN_BY_ADMINISTRATORS, "administrator"),
    *page("types/<code:code>", "/types/w28", SEEN_LOGGED_IN),
    *page("types/<code:code>/change", "/types/w28/change", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS,
          "administrator"),
    *page("types/<code:code>/sources", "/types/w28/sources", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS,
          "administrator"),
    *page("types/<code:code>/confirmation", "/types/w31/confirmation", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("reference", "/reference", SEEN_LOGGED_IN),
    *page("", "/", SEEN_LOGGED_IN),
    *page("set-up", "/set-up", SEEN_BY_ADMINISTRATORS, right="administrator"),
    *_administrators("set-up/put-away", "/set-up/put-away"),
    *_administrators("set-up/take-back", "/set-up/take-back"),
    *page("stands/<slug:digest>", "/stands/{record}", PUBLIC, PUBLIC_NO_METHOD),
    *page("stands/<slug:digest>/values/<int:setup_id>", "/stands/{record}/values/{confirmed}", PUBLIC,
          PUBLIC_NO_METHOD),
    *page("stands/<slug:digest>/<int:number>/<slug:word>/<slug:stamp>",
          "/stands/{record}/2/stands/20260302T090000Z", PUBLIC, PUBLIC_NO_METHOD),
    *page("tour", "/tour", PUBLIC, PUBLIC_NO_METHOD),
    *page("tour/<slug:slug>", "/tour/analyst", PUBLIC, PUBLIC_NO_METHOD),
    *page("board", "/board", SEEN_LOGGED_IN),
    *page("audit", "/audit", SEEN_LOGGED_IN),
    *page("audit.csv", "/audit.csv", SEEN_LOGGED_IN),
    *page("evidence", "/evidence", SEEN_BY_ADMINISTRATORS, DONE_BY_ADMINISTRATORS, right="administrator"),
    *page("evidence/<uuid:task>.zip", "/evidence/{evidence}.zip", (302, 404, 404, 404, 2, 302, 2),
          right="administrator"),
    *page("monthly", "/monthly", SEEN_LOGGED_IN),
    *page("monthly.csv", "/monthly.csv", SEEN_LOGGED_IN),
    *page("documents/monthly.pdf", "/documents/monthly.pdf", SEEN_LOGGED_IN),
    *page("repeatability", "/repeatability", SEEN_LOGGED_IN),
    *page("repeatability.csv", "/repeatability.csv", SEEN_LOGGED_IN),
    *page("repeatability-pairs.csv", "/repeatability-pairs.csv", SEEN_LOGGED_IN),
    *page("repeatability.pdf", "/repeatability.pdf", SEEN_LOGGED_IN),
    # documents
    *page("inspections/<id:inspection_id>/record.pdf", "/inspections/{signed}/record.pdf", PAGE_NO_DOCUMENT_YET),
    *page("documents", "/documents", SEEN_LOGGED_IN),
    *page("documents/check", "/documents/check", SEEN_LOGGED_IN, EMPTY_FORM),
    *page("documents/export", "/documents/export", SEEN_LOGGED_IN, SENT_ON),
    *page("documents/exports/<uuid:task>.zip", "/documents/exports/{export}.zip", (302, 404, 404, 404, 2, 302, 404),
          right="verifier"),
    *page("documents/inspections.zip", "/documents/inspections.zip", SEEN_LOGGED_IN),
    *page("documents/worksheets/<slug:code>.pdf", "/documents/worksheets/w28.pdf", SEEN_LOGGED_IN),
    *page("documents/setup-cards/<id:setup_id>.pdf", "/documents/setup-cards/{issued}.pdf", SEEN_AT_THE_SITE),
    *page("documents/labels.pdf", "/documents/labels.pdf?site=kettle-point", (302, 409, 2, 2, 2, 302, 409)),
    *page("documents/labels/<path:serial>.pdf", "/documents/labels/PLAIN.pdf", SEEN_AT_THE_SITE),
    *page("documents/histories/<path:serial>.pdf", "/documents/histories/PLAIN.pdf", SEEN_AT_THE_SITE),
    *page(SHEET, "/documents/practice/w28/usual/7/sheet.pdf", SEEN_LOGGED_IN),
    *page("new-reel", "/new-reel", SEEN_IF_MAINTAINING, EMPTY_FORM_IF_MAINTAINING),
    *page("tokens", "/tokens", SEEN_LOGGED_IN),
    *page("tokens/add", "/tokens/add", SEEN_LOGGED_IN, EMPTY_FORM),
    *page("tokens/<int:token_id>/revocation", "/tokens/{token}/revocation", SEEN_BY_ADMINISTRATORS_ALONE,
          EMPTY_FORM_OF_ADMINISTRATORS_ALONE, "administrator"),
    *page("machines", "/machines", SEEN_LOGGED_IN),
    *page("machines/add", "/machines/add", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("machines/<path:serial>/change", "/machines/RM-7/change", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("gauges", "/gauges", SEEN_LOGGED_IN),
    *page("findings", "/findings", SEEN_LOGGED_IN),
    *page("findings/kinds", "/findings/kinds", SEEN_LOGGED_IN),
    *_administrators("findings/kinds/add", "/findings/kinds/add"),
    *_administrators("findings/kinds/<int:kind_id>/change", "/findings/kinds/{kind}/change"),
    *page("practice/rules", "/practice/rules", SEEN_LOGGED_IN),
    *_administrators("practice/rules/add", "/practice/rules/add"),
    *_administrators("practice/rules/<int:rule_id>/change", "/practice/rules/{readiness_rule}/change"),
    *page("gauges/register", "/gauges/register", SEEN_BY_ADMINISTRATORS, EMPTY_FORM_OF_ADMINISTRATORS,
          "administrator"),
    *page("gauges/<path:serial>/calibration", "/gauges/WG-PLAIN/calibration", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    *page("gauges/<path:serial>/machine", "/gauges/WG-PLAIN/machine", SEEN_BY_ADMINISTRATORS,
          EMPTY_FORM_OF_ADMINISTRATORS, "administrator"),
    # practice: one's own, and of whom one instructs
    *page("practice", "/practice", SEEN_LOGGED_IN, EMPTY_FORM),
    *page(PRACTICE, "/practice/reels/{practising}", SEEN_IF_OWN, EMPTY_FORM_IF_OWN, "colleague"),
    *page(f"{PRACTICE}/answers", "/practice/reels/{practised}/answers", SEEN_IF_OWN, right="instructor"),
    *page("practice/people", "/practice/people", SEEN_BY_INSTRUCTORS, right="instructor"),
    *page("practice/people/<int:person_id>", "/practice/people/{trainee}", SEEN_IF_OWN, right="instructor"),
    *page("documents/drift.pdf", "/documents/drift.pdf", SEEN_LOGGED_IN),
    *page("documents/drift/<path:serial>.pdf", "/documents/drift/PLAIN.pdf", SEEN_AT_THE_SITE),
    # drift
    *page("drift", "/drift", SEEN_LOGGED_IN),
    *page("drift/recounts", "/drift/recounts", SEEN_LOGGED_IN),
    *page("drift/recounts.csv", "/drift/recounts.csv", SEEN_LOGGED_IN),
    *page(f"{REEL}/drift", "/reels/PLAIN/drift", SEEN_AT_THE_SITE),
    *page(f"{REEL}/drift/flag", "/reels/PLAIN/drift/flag", NOT_THERE, NOT_THERE),  # no such interval
    *page(FLAG, "/drift/flags/{flag}", SEEN_AT_THE_SITE),
    *_act(f"{FLAG}/assignment", "/drift/flags/{flag}/assignment"),
    *_act(f"{FLAG}/finding", "/drift/flags/{flag}/finding"),
    *_act(f"{FLAG}/ending", "/drift/flags/{flag}/ending"),
    # reels
    *page("reels", "/reels", SEEN_LOGGED_IN),
    *page(REEL, "/reels/PLAIN", SEEN_AT_THE_SITE),
    *page(f"{REEL}/history", "/reels/PLAIN/history", SEEN_AT_THE_SITE),
    *page(f"{REEL}/as-of", "/reels/PLAIN/as-of", SEEN_AT_THE_SITE),
    *_act(f"{REEL}/cut", "/reels/PLAIN/cut"),
    *_act(f"{REEL}/replacement", "/reels/PLAIN/replacement"),
    *_act(f"{REEL}/event", "/reels/PLAIN/event"),
    *_act(f"{REEL}/cable-events/<int:event_id>/reversal", "/reels/CUT/cable-events/{event}/reversal"),
    *_act(f"{REEL}/events/<int:event_id>/reversal", "/reels/CUT/events/{reel_event}/reversal"),
    *_act(f"{REEL}/setup-values", "/reels/SIGNED/setup-values"),
    *_act(f"{REEL}/installation", "/reels/PLAIN/installation"),
    *_act(f"{REEL}/removal", "/reels/INSTALLED/removal"),
    *_act(f"{REEL}/hold", "/reels/PLAIN/hold"),
    *_act(f"{REEL}/hold/end", "/reels/HELD/hold/end"),
    *_act(f"{REEL}/finding", "/reels/PLAIN/finding"),
    *_act("findings/<int:finding_id>/watch", "/findings/{finding}/watch", "releaser"),
    *_act("findings/<int:finding_id>/closing", "/findings/{finding}/closing", "releaser"),
    *page("findings/<int:finding_id>/photo", "/findings/{finding}/photo", SEEN_AT_THE_SITE),
    *_act("machines/<path:serial>/hold/end", "/machines/RM-HELD/hold/end", "releaser"),
    *_act(f"{REEL}/move", "/reels/PLAIN/move"),
    *page("moves", "/moves", SEEN_LOGGED_IN),
    *page("safety-notices", "/safety-notices", SEEN_LOGGED_IN),
    *page("safety-notices/issue", "/safety-notices/issue", (302, 2, 403, 403, 2, 302, 403),
          (302, 422, 422, 422, 422, 302, 422)),
    *page("safety-notices/<int:notice_id>", "/safety-notices/{notice}", SEEN_LOGGED_IN),
    *page("safety-notices/<int:notice_id>.csv", "/safety-notices/{notice}.csv", SEEN_LOGGED_IN),
    *page("safety-notices/<int:notice_id>/lift", "/safety-notices/{notice}/lift", (302, 403, 403, 403, 2, 302, 403),
          (302, 422, 422, 422, 422, 302, 422)),
    *page("moves/receipt", "/moves/receipt?serial=SENT", SENT_ON),
    *page(f"{REEL}/receipt", "/reels/SENT/receipt", (302, 2, 2, 2, 2, 302, 404), (302, 422, 422, 422, 422, 302, 404)),
    *page(f"{REEL}/call-back", "/reels/SENT/call-back", (302, 403, 403, 403, 2, 302, 404),
          (302, 422, 422, 422, 422, 302, 404)),
    *_act(f"{REEL}/retirement", "/reels/PLAIN/retirement"),
    # setup values
    *page(SETUP, "/setup-values/{issued}", SEEN_AT_THE_SITE),
    *_act(f"{SETUP}/gauge", "/setup-values/{issued}/gauge", "setter"),
    *_act(f"{SETUP}/read-back", "/setup-values/{gauge_back}/read-back", "setter"),
    *_act(f"{SETUP}/confirmation", "/setup-values/{read_back}/confirmation", "confirmer"),
    *_act(f"{SETUP}/check", "/setup-values/{confirmed}/check", "setter"),
    *_act(f"{SETUP}/withdrawal", "/setup-values/{issued}/withdrawal"),
    # counts
    *page(COUNT, "/inspections/{signed}", SEEN_AT_THE_SITE),
    *page(f"{REEL}/count", "/reels/PLAIN/count", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE, "technician"),
    *page(f"{COUNT}/worksheet", "/inspections/{opened}/worksheet", SEEN_IF_AUTHORISED, EMPTY_IF_AUTHORISED,
          "technician"),
    *page(f"{COUNT}/witness", "/inspections/{opened}/witness", SEEN_IF_AUTHORISED, EMPTY_IF_AUTHORISED, "verifier"),
    *page(f"{COUNT}/gauge", "/inspections/{without_gauge}/gauge", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE,
          "technician"),
    *page(f"{COUNT}/gauge/return", "/inspections/{opened}/gauge/return", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE,
          "technician"),
    *_act(f"{COUNT}/finding", "/inspections/{opened}/finding", "technician"),
    *_act(f"{THIRD}/<slug:point>/request", "/inspections/{differing}/third-readings/scale_left/request", "technician"),
    *_act(f"{THIRD}/<int:third_id>", "/inspections/{asked}/third-readings/{third}", "setter"),
    *_act(f"{THIRD}/<int:third_id>/end", "/inspections/{asked}/third-readings/{third}/end", "technician"),
    *page(f"{COUNT}/draft", "/inspections/{opened}/draft", SEEN_AT_THE_SITE, SEEN_AT_THE_SITE),  # one's own typing
    *page(f"{REEL}/stamp", "/reels/PLAIN/stamp", SEEN_AT_THE_SITE),
    *page(f"{COUNT}/stamp", "/inspections/{opened}/stamp", SEEN_AT_THE_SITE),
    *page(f"{COUNT}/drawing/<slug:role>", "/inspections/{opened}/drawing/technician", SEEN_AT_THE_SITE,
          SEEN_AT_THE_SITE, "technician"),
    *page(f"{COUNT}/photos/<int:photo_id>", "/inspections/{photographed}/photos/{photo}", SEEN_AT_THE_SITE),
    *page(f"{COUNT}/result", "/inspections/{worked}/result", SEEN_AT_THE_SITE, SEEN_AT_THE_SITE, "technician"),
    *page(f"{COUNT}/help", "/inspections/{opened}/help", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE, "technician"),
    *page(f"{COUNT}/referral", "/inspections/{referred}/referral", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE,
          "releaser"),
    *page(f"{COUNT}/cancel", "/inspections/{opened}/cancel", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE, "technician"),
    *page(f"{COUNT}/void", "/inspections/{signed}/void", SEEN_AT_THE_SITE, EMPTY_FORM_AT_THE_SITE, "verifier"),
)  # fmt: skip
