"""The words of every problem that settings can have: what was found, what is allowed, what to do.

Rules name an entry; `problem.py` fills it in. The tests hold one bad file against each of them.
"""

from typing import NamedTuple


class Entry(NamedTuple):
    """Texts for `str.format`. `value` is what was found, fit to be shown; `names` are the right ones."""

    found: str
    allowed: str
    hint: str


CATALOGUE: dict[str, Entry] = {
    # Files
    "no-directory": Entry(
        "no such directory",
        "a directory with heatwarden.toml and printers/",
        "give the path of the directory, or begin with: heatwarden examples DIRECTORY",
    ),
    "no-file": Entry("no such file", "a file that the guard may read", "begin with: heatwarden examples DIRECTORY"),
    "no-printers": Entry("no printer at all", "one file a printer: printers/NAME.toml", "begin with: heatwarden examples DIRECTORY"),
    "stray-file": Entry(
        "a file that is not read",
        "files named NAME.toml",
        "rename it or move it away: no printer may be left out unseen",
    ),
    "printer-name": Entry(
        'the file name "{value}"', "lower-case letters, digits and single hyphens, 40 at most", "the file's name is the printer's name"
    ),
    "symbolic-link": Entry("a symbolic link", "the file itself", "put the file there: what is checked must be what is read"),
    "unreadable": Entry("{error}", "a plain file that the guard may read", "look at its owner and mode with ls -l"),
    "too-big": Entry("a file of more than {largest} bytes", "up to {largest} bytes", "this is hardly a settings file"),
    "not-utf-8": Entry("the byte {byte}", "UTF-8 text", "save the file again as UTF-8"),
    "byte-order-mark": Entry("a byte order mark", "UTF-8 text without one", "save the file again as UTF-8 without BOM"),
    "not-toml": Entry(
        "{what}{where}",
        "TOML 1.0: texts in quotes, in 'single' ones where they hold a backslash; numbers with a point, not a comma; each key once",
        "the rest of this file was not looked at",
    ),
    "absurd-toml": Entry("brackets too deep or a number too long", "TOML of a sensible depth", "the rest of this file was not looked at"),
    # Keys and types
    "unknown-key": Entry("a key that is not known", "{names}", "take it out"),
    "missing-key": Entry("nothing", "{allowed}", "this key must be given"),
    "wrong-type": Entry("{value}", "{allowed}", "texts have quotes, numbers and true or false have none, lists have brackets"),
    "not-finite": Entry("{value}", "a finite number", "there is no limit without a limit"),
    "unknown-word": Entry("{value}", "{allowed}", "take one of these"),
    "out-of-bounds": Entry("{value}", "{bounds}", "mind its unit"),
    # Names
    "name": Entry('the name "{value}"', "lower-case letters, digits and single hyphens, 40 at most", "rename it wherever it is used"),
    "unknown-broker": Entry("{value}", "{names}", "describe it under [brokers.NAME] in heatwarden.toml"),
    "unknown-page": Entry("{value}", "{names}", "describe it under [pages.NAME] in heatwarden.toml"),
    "unknown-relay": Entry("{value}", "{names}", "describe it under [relays.NAME] in heatwarden.toml"),
    "unknown-check": Entry("a check that is not known", "{names}", "take it out"),
    "always-armed": Entry(
        "a check that is always armed", "every other check", "take it out: ceiling and out of range cut from the first reading on"
    ),
    "unknown-limit": Entry("a limit that this check does not have", "{names}", "take it out"),
    "not-absolute": Entry("{value}", "an absolute path, beginning with /", "say where it is from the root on"),
    # Brokers and secrets
    "host": Entry("{value}", "a host name or an address and nothing else", "port, user and password have keys of their own"),
    "user": Entry("{value}", "a user name of printable characters", "MQTT forbids or advises against all others"),
    "two-passwords": Entry("both password_file and password_credential", "one of the two", "take one out"),
    "password-without-user": Entry("a password and no user", "user and password together", "add user"),
    "secret-missing": Entry(
        "no such file (its name is not shown: it could be the secret itself)",
        "a file that holds the secret, on one line",
        "make it with: install -m 600 /dev/null FILE, then write the secret into it",
    ),
    "secret-unreadable": Entry("{error}", "a plain file that holds the secret", "look at its owner and mode with ls -l"),
    "secret-empty": Entry("an empty file", "a file that holds the secret, on one line", "write the secret into {file}"),
    "secret-open": Entry(
        "a file of mode {mode}", "nothing for others, no writing for the group: 0600, 0400, 0640 or 0440", "chmod 600 {file}"
    ),
    "credential-name": Entry("(not shown)", "the name of a systemd credential, without slashes", "see LoadCredential= in the unit"),
    "credential-missing": Entry("no credential of this name (not shown)", "one that systemd has loaded", "add LoadCredential= to the unit"),
    "tls-file-missing": Entry("{value}, which is not there", "a file with certificates or a key in PEM form", "correct the path"),
    "tls-half": Entry("one of certificate_file and key_file", "both or neither", "add the other one"),
    # Pages
    "url": Entry(
        "{value}",
        "http:// or https://, a host, and no user, password or #fragment",
        "a secret goes into secret_file: it is sent in the field that header names",
    ),
    "header": Entry("{value}", "the name of a header field, and none that every request sets itself", "most devices take Authorization"),
    "header-without-secret": Entry("a header and no secret", "header together with secret_file or secret_credential", "add the secret"),
    "two-secrets": Entry("both secret_file and secret_credential", "one of the two", "take one out"),
    "ca-file-unused": Entry("a ca_file for an http address", "a ca_file with https", "say https in url, or take ca_file out"),
    # The front process
    "listen": Entry(
        "{value}", "one literal address, such as 127.0.0.1, ::1 or 192.168.1.20", "the port is a key of its own; 0.0.0.0 is every address"
    ),
    "front-host": Entry(
        "{value}", "a host name or an address without port, scheme and wildcard", "write it as clients do between https:// and the port"
    ),
    # Relays
    "commands-not-allowed": Entry(
        "a relay that runs a program",
        "only with allow_commands = true at the top of heatwarden.toml",
        "read the command first: it runs with the rights of the guard",
    ),
    "main-file-writable": Entry(
        "owner {owner}, mode {mode}",
        "with allow_commands: owned by root or by the guard's user, writable by nobody else",
        "chown root heatwarden.toml && chmod go-w heatwarden.toml",
    ),
    "command-empty": Entry("an empty list", "a program and its arguments", 'for example ["/usr/local/bin/open-relay", "3"]'),
    "command-nul": Entry("a NUL character", "arguments without one", "no program can be given one"),
    "order-empty": Entry("an empty text", "the text that opens the relay", "look at what the device takes"),
    "program-relative": Entry(
        "{value}", "the absolute path of a program, then its arguments, each in quotes", "no shell is used: which PROGRAM tells the path"
    ),
    "request-url": Entry(
        "{value}",
        "http:// or https://, a host, and no user, password, placeholder or #fragment",
        'a secret goes into secret_file; "{{secret}}" puts it into a header or the body',
    ),
    "request-header": Entry(
        "{name}", "the name of a header field, and none that every request sets itself", "most devices take Authorization"
    ),
    "request-text": Entry("(not shown)", "printable text on one line; in a header, ASCII without spaces around it", "take it out"),
    "get-with-body": Entry("a body with GET", "a body with POST, PUT or PATCH", "say which method the device takes"),
    "answer-empty": Entry("an empty text", "the word that a good answer says", "look at what the device answers"),
    "echo-missing": Entry("a meter and no echo", "a meter together with echo", "its number is looked for in the page of the echo"),
    "secret-in-settings": Entry(
        "(not shown)", "{{secret}} in this field, and the secret in secret_file", "no secret stands in the settings"
    ),
    "secret-without-file": Entry("{{secret}}, and no secret", "secret_file or secret_credential beside it", "say where the secret is kept"),
    "secret-unused": Entry("a secret that no request carries", 'a header or a body with "{{secret}}"', "most devices take Authorization"),
    "program-missing": Entry("{value}, which is not there", "a program on this computer", "correct the path"),
    "program-not-executable": Entry("{value}, which may not be run", "a program that the guard may run", "chmod +x {value}"),
    "order-topic-taken": Entry(
        "{value}, which is also {other}",
        "a topic that carries nothing but orders for this relay",
        "an order read back as a report would confirm itself",
    ),
    "relay-topic-has-readings": Entry(
        "{value}, which is also {other}", "a topic that carries no heater's readings", "what proves the cut must not come with the reading"
    ),
    "same-words": Entry("{value} for both {words}", "two different words", "look at what the device sends in either state"),
    "relay-twice": Entry("{value}, named twice", "each relay once", "take one out"),
    "no-relay": Entry("no relay for {heaters}", "at least one relay for each heater", 'for example relays = ["NAME"]'),
    "relay-shared": Entry(
        '{value}, which {other} uses too and which says cuts = "{cuts}"',
        'a relay of its own, or one with cuts = "several"',
        "if it really feeds both, say so in heatwarden.toml",
    ),
    "meter-of-several": Entry(
        'shows_heat = true for {value}, which says cuts = "several"',
        "shows_heat only of a relay that cuts one printer or one heater",
        "whose heat it is cannot be told: take it out",
    ),
    "meter-twice": Entry(
        "shows_heat = true for {value}, and {other} for the same power",
        "one meter for the whole printer, and one for a heater",
        "take one of them out: they would contradict each other",
    ),
    "relay-for-one-heater": Entry(
        '{value}, which says cuts = "heater"', "relays that cut the whole printer", "name it under the heater that it feeds: {heaters}"
    ),
    "heater-relay-shared": Entry(
        '{value}, which says cuts = "heater" and which {other} names too',
        'one heater for a relay with cuts = "heater"',
        'say cuts = "printer" if it feeds both',
    ),
    # Readings
    "no-source": Entry(
        "nothing that says where readings come from",
        "broker and topic, pushed = true, or page",
        "take one of the three ways: see docs/settings.md",
    ),
    "two-sources": Entry("{ways}", "broker and topic, pushed = true, or page", "take one way: two voices would contradict each other"),
    "unheeded-key": Entry("a key that means nothing with {way}", "no {key} here", "take it out: {hint}"),
    "page-too-slow": Entry(
        "{value} seconds",
        "at least every_s {every} + time_limit_s {limit} of the page {page}",
        "ask the page more often, or say that a healthy source is silent for so long",
    ),
    "topic": Entry("{value}", "one exact topic: no + or #, no $ in front, not empty", "one topic speaks for one heater; nobody else may"),
    "topic-twice": Entry(
        "{value}, which {other} reads too",
        "a topic of its own, or another pointer",
        "two heaters would share one voice",
    ),
    "pointer": Entry("{value}", 'a JSON Pointer (RFC 6901): "" or "/key/key", with ~0 for ~ and ~1 for /', 'put a "/" before each key'),
    "pattern-missing": Entry("no pattern", 'a regular expression with form = "text"', "pattern = 'temp=(?P<temperature>[0-9.]+)'"),
    "pattern-unused": Entry("a pattern", 'a pattern only with form = "text"', 'say form = "text", or take the pattern out'),
    "pattern-broken": Entry("{value}: {error}", "a regular expression", "in single quotes, TOML leaves backslashes alone"),
    "pattern-groups": Entry(
        "{value}, without the group {group}", "the group (?P<{group}>...) in the pattern", "put it around the number that counts"
    ),
    "pattern-unknown-group": Entry("the group {value}", "groups named {names}", "rename it"),
    # Heaters and limits
    "no-heaters": Entry("no heater", "at least one [heaters.NAME]", "without a heater there is nothing to guard"),
    "normal-over-harm": Entry(
        "normal_max_c {normal} ({normal_origin}), harm_c {harm} ({harm_origin})",
        "normal_max_c below harm_c",
        "give both: the hottest target ever used, and what the weakest part stands",
    ),
    "harm-over-class": Entry(
        "{value} degrees Celsius", "up to {highest} for a {kind}", "no {kind} of common make stands more; parts fail from there on"
    ),
    "ceiling-too-late": Entry(
        "a ceiling that cannot protect: {arithmetic}",
        "one that opens the relay before harm begins",
        "lower above_c, confirm sooner, or have the source report more often",
    ),
    "ceiling-over-harm": Entry(
        "{value} degrees Celsius", "up to harm_c, which is {harm} ({harm_origin})", "lower the ceiling, or give harm_c of the parts used"
    ),
    "normal-over-ceiling": Entry(
        "{value} degrees Celsius", "below the ceiling, which is {ceiling}", "a heater at its normal temperature would be cut"
    ),
    "coldest-over-hottest": Entry(
        "coldest_c {coldest}, hottest_c {hottest}, frost_c {frost}",
        "frost_c <= coldest_c < hottest_c",
        "put them in order",
    ),
    "grace-under-intervals": Entry(
        "{value} seconds", "at least {least}: two reporting intervals of {interval} s", "one lost message must not cut the power"
    ),
    "grace-under-restart": Entry(
        "{value} seconds",
        "at least {least} with pushed readings: the time in which the front comes back after a failure",
        "a restart of the front must not cut the power",
    ),
    "outage-under-grace": Entry(
        "outage_s {outage}, grace_s {grace}",
        "outage_s from grace_s on",
        "it is the longer wait, when nothing is heard of any heater of the printer",
    ),
    "advise-over-grace": Entry("advise_s {advise}, grace_s {grace}", "advise_s up to grace_s", "the advice comes before the cut"),
}
