"""What pieces of several of a project's files are made of."""

from typing import Annotated

from msgspec import Meta

Name = Annotated[str, Meta(extra_json_schema={"minLength": 1})]
Exact = Annotated[
    str,
    Meta(
        description='An exact number above zero as text: "96", "1/2" or "119.88".',
        extra_json_schema={"pattern": r"^\d{1,9}(/\d{1,10}|\.\d{1,9})?$"},
    ),
]
