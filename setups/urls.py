"""The library's addresses, grouped by what they act on."""

urlpatterns: list = []
