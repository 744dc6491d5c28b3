"""The pages of repeatability, of recounts, of the monthly report and of the tour, by a short name."""


def address_of_report_pages() -> dict[str, str]:
    return {
        "repeatability": "/repeatability",
        "repeatability-few": "/repeatability?compare=hand&until=2025-03-31",
        "repeatability-none": "/repeatability?until=2020-01-01",
        "recounts": "/drift/recounts",
        "monthly": "/monthly?site=kettle-point",
        "monthly-long": "/monthly?since=2024-06-01&until=2026-03-31",
        "monthly-none": "/monthly?since=2019-01-01",
        "tour": "/tour",
        "tour-part": "/tour/verifier",
    }
