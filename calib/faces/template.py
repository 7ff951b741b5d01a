"""Pages from templates: what is typed is text in them, whatever signs it holds."""

from jinja2 import Environment, PackageLoader, StrictUndefined, Template


def template(name: str) -> Template:
    """A template of this package by the name of its file; a name that it does not know stops it."""
    return Environment(
        loader=PackageLoader("calib.faces"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    ).get_template(name)
