"""What pieces of several of a project's files are made of."""

from typing import Annotated

from msgspec import Meta

Name = Annotated[str, Meta(extra_json_schema={"minLength": 1})]
