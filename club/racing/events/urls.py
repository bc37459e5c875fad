"""The addresses of race days."""

from django.urls import path

from club.racing.views_events import entries, inspect, pages, record

urlpatterns = [
    # Events
    path("", pages.events, name="events"),
    path("new/", pages.new_event, name="new-event"),
    path("<slug:slug>/", pages.event, name="event"),
    path("<slug:slug>/edit/", pages.edit_event, name="edit-event"),
    path("<slug:slug>/check/", pages.check, name="event-check"),
    # Entries
    path("<slug:slug>/entries/new/", entries.new_entry, name="new-entry"),
    path("<slug:slug>/entries/load/", entries.entry_list, name="entry-list"),
    path("<slug:slug>/entries/entries.csv", entries.template, name="entry-list-template"),
    path("<slug:slug>/entries/<int:pk>/", entries.entry, name="entry"),
    path("<slug:slug>/entries/<int:pk>/edit/", entries.edit_entry, name="edit-entry"),
    path("<slug:slug>/entries/<int:pk>/check-in/", entries.check_in, name="check-in"),
    path("<slug:slug>/entries/<int:pk>/withdraw/", entries.withdraw, name="withdraw-entry"),
    # Inspecting
    path("<slug:slug>/sheets/", inspect.sheets, name="event-sheets"),
    path("<slug:slug>/entries/<int:pk>/sheet/", inspect.sheet, name="entry-sheet"),
    path("<slug:slug>/entries/<int:pk>/inspect/", inspect.inspect, name="inspect"),
    path("<slug:slug>/entries/<int:pk>/records/", inspect.send_record, name="send-record"),
    # The record
    path("<slug:slug>/entries/<int:pk>/record/", record.entry_record, name="entry-record"),
    path("<slug:slug>/record/", record.event_record, name="event-record"),
    path("<slug:slug>/record.csv", record.as_csv, name="event-record-csv"),
    path("<slug:slug>/record.json", record.as_json, name="event-record-json"),
]
