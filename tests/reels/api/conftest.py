from tests.api_fixtures import cast, token_way, ways

__all__ = ["cast", "token_way", "ways"]
