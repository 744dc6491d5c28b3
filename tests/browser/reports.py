"""The pages of repeatability, of recounts and of the tour, by a short name."""


def address_of_report_pages() -> dict[str, str]:
    return {
        "repeatability": "/repeatability",
        "repeatability-few": "/repeatability?compare=hand&until=2025-03-31",
        "repeatability-none": "/repeatability?until=2020-01-01",
        "recounts": "/drift/recounts",
        "tour": "/tour",
        "tour-part": "/tour/verifier",
    }
