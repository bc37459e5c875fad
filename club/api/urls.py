"""The club's addresses of the REST interface."""

from django.urls import include, path, re_path
from rest_framework.routers import SimpleRouter

from club.api import (
    events,
    events_entries,
    events_record,
    garage,
    kit,
    racing,
    racing_check,
    racing_clauses,
)
from setups.api.views import add_to_contents

router = SimpleRouter(use_regex_path=False)
router.register("garage/parts", garage.OwnedParts, "api-owned-part")
router.register("garage/bodies", garage.OwnedBodies, "api-owned-body")
router.register("garage/chassis", garage.AllChassis, "api-chassis")
router.register("race-classes", racing.RaceClasses, "api-race-class")
router.register("race-classes/<slug:race_class>/editions", racing.Editions, "api-edition")
router.register("events", events.Events, "api-event")
router.register("events/<slug:event>/entries", events_entries.Entries, "api-entry")
router.register("events/<slug:event>/inspections", events_record.Inspections, "api-inspection")

add_to_contents(
    {
        "garage-parts": "api-owned-part-list",
        "garage-bodies": "api-owned-body-list",
        "garage-chassis": "api-chassis-list",
        "kit-plan": "api-kit-plan",
        "race-classes": "api-race-class-list",
        "events": "api-event-list",
        "legality": "api-legality",
    }
)

EDITION = "v1/race-classes/<slug:race_class>/editions/<int:pk>/"
EVENT, ENTRY = "v1/events/<slug:event>/", "v1/events/<slug:event>/entries/<int:pk>/"

urlpatterns = [
    path("v1/", include(router.urls)),
    re_path(r"^v1/kit-plan/?$", kit.KitPlan.as_view(), name="api-kit-plan"),
    # Rulebooks, and whether a car is legal under them
    path(f"{EDITION}publish/", racing.Publish.as_view(), name="api-publish-edition"),
    path(f"{EDITION}changes/", racing.Changes.as_view(), name="api-edition-changes"),
    path(f"{EDITION}clauses/", racing_clauses.Clauses.as_view(), name="api-clause-list"),
    path(f"{EDITION}clauses/<int:clause>/", racing_clauses.OneClause.as_view(), name="api-clause"),
    path(f"{EDITION}clauses/<int:clause>/move/", racing_clauses.Move.as_view(), name="api-move-clause"),
    re_path(r"^v1/legality/?$", racing_check.Legality.as_view(), name="api-legality"),
    path(
        "v1/setups/<int:setup>/legality/",
        racing_check.LegalityOfSetup.as_view(),
        name="api-setup-legality",
    ),
    # Race days
    path(f"{EVENT}check/", events.CheckOfEvent.as_view(), name="api-event-check"),
    path(f"{EVENT}entry-list/", events_entries.EntryList.as_view(), name="api-entry-list-load"),
    path(f"{EVENT}record/", events_record.RecordOfEvent.as_view(), name="api-event-record"),
    path(f"{EVENT}record.csv", events_record.RecordAsCsv.as_view(), name="api-event-record-csv"),
    path(f"{ENTRY}check-in/", events_entries.CheckIn.as_view(), name="api-check-in"),
    path(f"{ENTRY}withdraw/", events_entries.Withdraw.as_view(), name="api-withdraw-entry"),
    path(f"{ENTRY}log/", events_entries.Log.as_view(), name="api-entry-log"),
    path(f"{ENTRY}check/", events_entries.CheckOfEntry.as_view(), name="api-entry-check"),
    path(f"{ENTRY}record/", events_record.RecordOfEntry.as_view(), name="api-entry-record"),
]
