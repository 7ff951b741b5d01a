"""Pages from templates: what is typed is text in them, whatever signs it holds."""

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


@cache
def environment(package: str) -> Environment:
    """The templates of a package; a name that one does not know stops it."""
    return Environment(
        loader=PackageLoader(package), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )


def template(name: str) -> Template:
    """A template of the handouts by the name of its file."""
    return environment("calib.faces").get_template(name)
