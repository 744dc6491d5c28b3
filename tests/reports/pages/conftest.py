from tests.page_fixtures import no_query_in_a_template, on_the_day

__all__ = ["no_query_in_a_template", "on_the_day"]
