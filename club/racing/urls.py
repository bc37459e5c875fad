"""The addresses of race classes and their rulebooks."""

from django.urls import path

from club.racing.views import check, read, write

urlpatterns = [
    path("", read.race_classes, name="race-classes"),
    path("new/", write.new_class, name="new-race-class"),
    path("<slug:slug>/", read.race_class, name="race-class"),
    path("<slug:slug>/compare/", read.compare_editions, name="compare-editions"),
    path("<slug:slug>/check/", check.check_class, name="check-class"),
    # Editions
    path("<slug:slug>/editions/new/", write.new_edition, name="new-edition"),
    path("<slug:slug>/editions/<int:pk>/", read.edition, name="edition"),
    path("<slug:slug>/editions/<int:pk>/change/", write.change_edition, name="change-edition"),
    path("<slug:slug>/editions/<int:pk>/publish/", write.publish_edition, name="publish-edition"),
    path("<slug:slug>/editions/<int:pk>/discard/", write.discard_edition, name="discard-edition"),
    # Clauses
    path("<slug:slug>/editions/<int:pk>/clauses/new/", write.new_clause, name="new-clause"),
    path("<slug:slug>/editions/<int:pk>/clauses/<int:number>/", write.clause, name="clause"),
    path(
        "<slug:slug>/editions/<int:pk>/clauses/<int:number>/remove/",
        write.remove_clause,
        name="remove-clause",
    ),
    path("<slug:slug>/editions/<int:pk>/clauses/<int:number>/move/", write.move_clause, name="move-clause"),
]
