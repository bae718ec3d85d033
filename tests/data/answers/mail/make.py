"""Writes the messages of this folder, and what each is to become (expected.txt). See README.md."""

import base64
import quopri
from pathlib import Path

HERE = Path(__file__).parent
FORM = (HERE / "round.txt").read_text()
PAGE = (HERE / "round.html").read_text()
BODY = PAGE[PAGE.index("<body"):PAGE.index("</body>")].split(">", 1)[1]
WROTE = "On Fri, Apr 22, 2022 at 6:00 AM Test orchards <duskflight@test.example> wrote:"
RESULTS = []


def quoted(text, sign="> "):
    return "".join((sign + line).rstrip() + "\n" for line in text.splitlines())


def filled(values, text=FORM):
    for trap, value in values.items():
        assert f"{trap} =" in text
        text = text.replace(f"{trap} =", f"{trap} = {value}")
    return text


def encoded(text, charset="utf-8", how="8bit"):
    data = text.replace("\n", "\r\n").encode(charset)
    if how == "base64":
        return base64.encodebytes(data).replace(b"\n", b"\r\n")
    if how == "quoted-printable":
        lines = [quopri.encodestring(line.encode(charset)) for line in text.split("\n")]
        return b"\r\n".join(line.replace(b"\n", b"\r\n") for line in lines)
    return data


def part(kind, text, charset="utf-8", how="8bit", more="", headers=""):
    head = f"Content-Type: {kind}; charset={charset}{more}\r\nContent-Transfer-Encoding: {how}\r\n{headers}\r\n"
    return head.encode() + encoded(text, charset, how)


def plain(text, **more):
    return part("text/plain", text, **more)


def html(text, **more):
    return part("text/html", text, **more)


def several(kind, *parts, boundary="----=_part"):
    boundary = f"{boundary}_{kind}"
    lines = [f'Content-Type: multipart/{kind}; boundary="{boundary}"\r\n\r\n'.encode()]
    for one in parts:
        lines += [f"--{boundary}\r\n".encode(), one, b"\r\n"]
    return b"".join(lines) + f"--{boundary}--\r\n".encode()


def file(name, kind, data):
    head = (f'Content-Type: {kind}; name="{name}"\r\nContent-Transfer-Encoding: base64\r\n'
            f'Content-Disposition: attachment; filename="{name}"\r\n\r\n')
    return head.encode() + base64.encodebytes(data).replace(b"\n", b"\r\n")


def inline_picture():
    head = 'Content-Type: image/png; name="image001.png"\r\nContent-Transfer-Encoding: base64\r\nContent-ID: <image001>\r\n\r\n'
    return head.encode() + base64.encodebytes(b"\x89PNG no picture")


def message(name, what, body, becomes, **headers):
    """A message, and what it is to become: one thing a line. A header that is None is left out."""
    all_headers = {
        "From": "Sam Rowe <sam@test.example>", "To": "<@@REPLY-TO@@>", "Subject": "Re: Apr 22: round north, 7 traps",
        "Date": "Fri, 22 Apr 2022 18:05:00 -0700", "Message-ID": f"<{name}@phone.example>",
        "In-Reply-To": "<@@MESSAGE-ID@@>", "References": "<@@MESSAGE-ID@@>", "MIME-Version": "1.0",
    }
    all_headers.update({key.replace("_", "-"): value for key, value in headers.items()})
    lines = [f"{key}: {value}\r\n" for key, value in all_headers.items() if value is not None]
    if isinstance(body, str):
        body = plain(body)
    (HERE / f"{name}.eml").write_bytes("".join(lines).encode() + body)
    RESULTS.append(f"### {name} {what}\n{becomes.strip()}\n")


def line(trap, says, day="04-22"):
    return f"{trap} {day} {says}\n"


E1, TWO = line("N1-E1", "14 eggs"), line("N1-E1", "14 eggs") + line("N1-E2", "0 eggs")
PLAIN = "N1-E1 14\nN1-E2 0\n"

# Where the answer stands.
message("top", "above, quoted below", f"{PLAIN}\n{WROTE}\n\n{quoted(FORM)}", TWO)
message("bottom", "below what is quoted", f"{WROTE}\n\n{quoted(FORM)}\n{PLAIN}", TWO)
message("inline-filled", "behind the signs of the form", f"{WROTE}\n{quoted(filled({'N1-E1': 14, 'N1-E2': '0 bait'}))}",
        E1 + line("N1-E2", "0 eggs bait"))
message("inline-between", "on lines of its own between those of the form",
        WROTE + "\n" + quoted(FORM).replace("> N1-E1 =\n", "> N1-E1 =\n14\n").replace("> N1-E2 =\n", "> N1-E2 =\n0\n"), TWO)
message("inline-named", "whole lines between quoted ones",
        WROTE + "\n" + quoted(FORM).replace("> N1-E1 =\n", "> N1-E1 =\nN1-E1 14\n").replace("> N1-E2 =\n", "> N1-E2 =\nN1-E2 0\n"), TWO)
message("top-and-form", "above, and more filled in below", f"N1-E1 14\n\n{WROTE}\n{quoted(filled({'N2-E1': 2}))}",
        E1 + line("N2-E1", "2 eggs"))
message("nothing-quoted", "nothing quoted", PLAIN, TWO)
message("no-signs", "the mail below without any sign", f"{PLAIN}\n{FORM}", TWO)
message("no-signs-filled", "filled in without any sign", filled({"N1-E1": 14, "N1-E2": 0}), TWO)
message("unfilled", "nothing was filled in", f"{WROTE}\n\n{quoted(FORM)}", "")
message("empty", "nothing at all", "\n", "")
message("short-quote", "three lines of the form are kept", f"{WROTE}\n\n> # [--- Home block ---]\n> N1-E1 = 14\n> N1-E2 =0\n", TWO)
message("bar-quote", "a stroke as the sign of quoting", f"{PLAIN}\n{WROTE}\n{quoted(FORM, '| ')}", TWO)
message("twice-quoted", "an earlier answer is quoted as well",
        f"N1-E1 14\nN1-E2 0\n\nOn Fri, Apr 22, 2022 at 5:00 PM Sam Rowe <sam@test.example> wrote:\n\n> N1-E3 5\n>\n> {WROTE}\n{quoted(FORM, '>> ')}", TWO)

# Signatures and what phones add.
message("signature", "a signature behind two strokes", f"{PLAIN}-- \nSam Rowe, scout\nOffice 2, phone 559-555-0199\n", TWO)
message("signature-bare", "a name and a number without strokes", f"{PLAIN}\nSam Rowe\n559-555-0199\n", TWO)
for language, words in {"en": "Sent from my phone", "es": "Enviado desde mi teléfono", "de": "Von meinem Telefon gesendet",
                        "fr": "Envoyé de mon téléphone", "pt": "Enviado do meu telefone", "it": "Inviato dal mio telefono"}.items():
    message(f"sent-from-{language}", "what a phone adds", f"{PLAIN}\n{words}\n", TWO)
message("sent-from-above", "what a phone adds, before the mail", f"{PLAIN}\nSent from my phone\n\n> On Apr 22, 2022, at 6:00 AM, Test orchards <duskflight@test.example> wrote:\n> \n{quoted(FORM)}", TWO)
message("get-app", "a line that a program adds of itself", f"{PLAIN}\nGet Letters for phones <https://letters.example/4/app?id=12>\n", TWO)
message("disclaimer", "a firm's notice below", f"{PLAIN}\n" + "_" * 40 + "\nThis message is for its reader alone. If you are not, delete it. Scanned at 18:05.\n",
        TWO + "? This message is for its reader alone. If you are not, delete it. Scanned at 18:05.")
message("virus-footer", "a scanner's line below", f"{PLAIN}\n--\nThis message was checked for viruses. 0 found.\n", TWO)

# Other languages' announcements.
for language, words in {
        "es": "El vie, 22 abr 2022 a las 6:00, Test orchards (<duskflight@test.example>) escribió:",
        "de": "Am Fr., 22. Apr. 2022 um 06:00 Uhr schrieb Test orchards <duskflight@test.example>:",
        "fr": "Le ven. 22 avr. 2022 à 06:00, Test orchards <duskflight@test.example> a écrit :",
        "pt": "Em sex., 22 de abr. de 2022 às 06:00, Test orchards <duskflight@test.example> escreveu:",
        "it": "Il giorno ven 22 apr 2022 alle ore 06:00 Test orchards <duskflight@test.example> ha scritto:",
        "nl": "Op vr 22 apr. 2022 om 06:00 schreef Test orchards <duskflight@test.example>:",
        "pl": "pt., 22 kwi 2022 o 06:00 Test orchards <duskflight@test.example> napisał(a):",
        "ja": "2022年4月22日(金) 6:00 Test orchards <duskflight@test.example>:",
        "pa": "ਸ਼ੁੱਕਰ, 22 ਅਪ੍ਰੈ 2022 ਨੂੰ 6:00 ਵਜੇ Test orchards <duskflight@test.example> ਨੇ ਲਿਖਿਆ:"}.items():
    message(f"wrote-{language}", "announced in another language", f"{PLAIN}\n{words}\n\n{quoted(FORM)}", TWO)
message("wrote-broken", "announced over two lines",
        f"{PLAIN}\nOn Fri, Apr 22, 2022 at 6:00 AM Test orchards <\nduskflight@test.example> wrote:\n\n{quoted(FORM)}", TWO)
HEADERS = "From: Test orchards <duskflight@test.example>\nSent: Friday, April 22, 2022 6:00 AM\nTo: Sam Rowe <sam@test.example>\nSubject: Apr 22: round north, 7 traps\n"
message("headers-rule", "an original message below a rule", f"{PLAIN}\n-----Original Message-----\n{HEADERS}\n{FORM}", TWO)
message("headers-line", "headers below a line", f"{PLAIN}\n" + "_" * 32 + f"\n{HEADERS}\n{FORM}", TWO)
message("headers-es", "headers in Spanish", f"{PLAIN}\nDe: Test orchards <duskflight@test.example>\nEnviado: viernes, 22 de abril de 2022 6:00\nPara: Sam Rowe <sam@test.example>\nAsunto: Apr 22: round north, 7 traps\n\n{FORM}", TWO)

# How text is encoded.
message("base64", "base64", plain(f"{PLAIN}\n{WROTE}\n\n{quoted(FORM)}", how="base64"), TWO)
message("quoted-printable", "quoted-printable, lines broken softly", plain(f"{PLAIN}N1-E3 wet # the sprinkler at the end of row six was left on all night, so nothing can be read\n\n{WROTE}\n{quoted(FORM)}", how="quoted-printable"),
        TWO + line("N1-E3", "unreadable # wet, the sprinkler at the end of row six was left on all night, so nothing can be read"))
message("latin-1", "ISO-8859-1", plain("N1-E1 14 # cañón\nN1-E2 0\n", charset="iso-8859-1"), line("N1-E1", "14 eggs # cañón") + line("N1-E2", "0 eggs"))
message("windows-1252", "Windows-1252: a dash and a curly quote", plain("N1–E1 14 # Pete’s\nN1-E2\xa00\n", charset="windows-1252", how="quoted-printable"),
        line("N1-E1", "14 eggs # Pete's") + line("N1-E2", "0 eggs"))
message("utf-16", "UTF-16", plain(PLAIN, charset="utf-16", how="base64"), TWO)
message("no-charset", "no charset is named", b"Content-Type: text/plain\r\n\r\n" + encoded(PLAIN), TWO)
message("no-type", "no type is named", b"\r\n" + encoded(PLAIN), TWO, MIME_Version=None)
RUN = "N1 12 0 0 3 - # " + "eggs on the south side again, as on the last round " * 2 + "and more to come"
message("flowed", "flowing text: a long line broken", plain("N1-E1 14\nN1-E2 0 # the tray was full of husks and I took them all out before I \ncounted, N2-E1 was not\n", more="; format=flowed"),
        E1 + line("N1-E2", "0 eggs # the tray was full of husks and I took them all out before I counted, N2-E1 was not"))
message("flowed-blanks", "flowing text, though each line was ended by hand", plain("N1-E1 14 \nN1-E2 0 \n", more="; format=flowed"), TWO)
message("flowed-form", "the form filled in, as flowing text", plain(f"{WROTE}\n{quoted(filled({'N1-E1': 14, 'N1-E2': 0}))}", more="; format=flowed; delsp=no"), TWO)
message("bare-line-ends", "lines end with LF alone", b"Content-Type: text/plain\n\nN1-E1 14\nN1-E2 0\n", TWO)
message("phone-letters", "what a phone does to letters", "N1–E1: １４.\nn1‑e2\u00a0\u200b0\n", TWO)

# HTML.
def alternative(text, page, **more):
    return several("alternative", plain(text, **more), html(page, **more))

QUOTE = f'<div class="quote">{WROTE.replace("<", "&lt;").replace(">", "&gt;")}<br></div><blockquote type="cite">{BODY}</blockquote>'
message("html-div", "HTML alone: everything in one div", html("<div>N1-E1 14<br>N1-E2 0</div>"), TWO)
message("html-divs", "HTML alone: a div a line", html('<html><body><div dir="auto">N1-E1 14</div><div dir="auto">N1-E2 0</div></body></html>'), TWO)
message("html-nested", "HTML alone: divs in divs, as a phone nests them", html('<div dir="ltr">N1-E1 14<div><div>N1-E2 0</div></div></div><br>' + QUOTE), TWO)
message("html-paragraphs", "HTML alone: paragraphs with empty ones between", html('<body><p class="a">N1-E1 14<o:p></o:p></p><p class="a"><o:p>&nbsp;</o:p></p><p class="a">N1-E2 0<o:p></o:p></p></body>', how="quoted-printable"), TWO)
message("html-table", "HTML alone: a table", html("<table><tr><th>trap</th><th>eggs</th></tr><tr><td>N1-E1</td><td>14</td></tr><tr><td>N1-E2</td><td>0</td></tr></table>"), TWO + "? trap eggs")
message("html-list", "HTML alone: a list", html("<ul><li>N1-E1 14</li><li>N1-E2 0</li></ul>"), TWO)
message("html-glued", "HTML alone: numbers at the ends of neighbours do not run together", html("<div>N1-E1 1</div><div>4 bags were torn</div><div>N1-E2 0</div>"),
        line("N1-E1", "1 eggs") + line("N1-E2", "0 eggs") + "? 4 bags were torn")
message("html-filled", "HTML alone: the form filled in", html(f"{WROTE}<blockquote>{filled({'N1-E1': 14, 'N1-E2': 0}, BODY)}</blockquote>", how="base64"), TWO)
message("html-between", "HTML alone: written between what is quoted", html(f"{WROTE}<blockquote><p>N1-E1 =</p></blockquote><div>14</div><blockquote><p>N1-E2 =</p></blockquote><div>N1-E2 0</div>"), TWO)
message("html-unfilled", "HTML alone: nothing was filled in", html(QUOTE), "")
message("html-unfilled-flat", "HTML alone: nothing was filled in and no sign of quoting", html(BODY), "")
message("html-hidden", "HTML alone: styles, comments and titles are no text", html("<html><head><title>N1-E3 1</title><style>N1-E3 1</style></head><body><!-- N1-E3 1 --><p>N1-E1 14</p><p>N1-E2 0</p><script>N1-E3 1</script></body></html>"), TWO)
message("html-pre", "HTML alone: preformatted", html(f"<pre>{PLAIN}</pre><pre>{quoted(FORM).replace('>', '&gt;')}</pre>"), TWO)
message("both-parts", "text and HTML say the same", alternative(PLAIN, "<p>N1-E1 14</p><p>N1-E2 0</p>"), TWO)
message("empty-plain", "the text part is empty", alternative(" \n", "<div>N1-E1 14</div><div>N1-E2 0</div>"), TWO)
message("related", "HTML with a picture of a signature", several("related", html('<p>N1-E1 14</p><p>N1-E2 0</p><img src="cid:image001">'), inline_picture()), TWO)
message("related-alternative", "text, HTML and a picture, nested", several("related", alternative(PLAIN, "<p>N1-E1 14</p><p>N1-E2 0</p>"), inline_picture()), TWO)
message("alternative-related", "an empty text part, and HTML with a picture", several("alternative", plain("\n"), several("related", html("<p>N1-E1 14</p><p>N1-E2 0</p>"), inline_picture())), TWO)
message("html-and-footer", "HTML, and a firm's notice as text", several("mixed", html("<p>N1-E1 14</p><p>N1-E2 0</p>"), plain("This message is for its reader alone.\n")), TWO)
message("text-picture-text", "written above and below a picture", several("mixed", plain("N1-E1 14\n"), inline_picture(), plain("N1-E2 0\n")), TWO)

# What came with it.
SHEET = """date,trap,eggs,eggs_left,moths,males,females,readable,serviced,note,by,route,block,gate,row,tree,place,todo
2022-04-22,N1-E1,14,,,,,,,,,north,N1,1,2,3,,reading due
2022-04-22,N1-E2,0,,,,,,bait,dry,,north,N1,1,4,3,,reading due
"""
message("sheet", "a round sheet", several("mixed", plain("The sheet.\n"), file("round.csv", "text/csv", SHEET.encode())),
        E1 + line("N1-E2", "0 eggs bait # dry"))
message("sheet-octets", "a round sheet of no particular type", several("mixed", plain("\n"), file("Round.CSV", "application/octet-stream", SHEET.encode())),
        E1 + line("N1-E2", "0 eggs bait # dry"))
message("calendar", "an invitation came with it", several("mixed", plain(PLAIN), file("invite.ics", "text/calendar", b"BEGIN:VCALENDAR\nSUMMARY:N1-E3 5\nEND:VCALENDAR\n")), TWO)
message("picture", "a photograph came with it", several("mixed", plain(PLAIN), file("trap.jpg", "image/jpeg", b"\xff\xd8 N1-E3 5")), TWO)
message("text-file", "a text file came with it", several("mixed", plain(PLAIN), file("notes.txt", "text/plain", b"N1-E3 5\n")), TWO)
OLD = b"From: Ada <ada@test.example>\r\nSubject: counts\r\n\r\nN1-E3 5\r\n"
message("forwarded-inside", "somebody's mail came with it", several("mixed", plain(PLAIN), b"Content-Type: message/rfc822\r\n\r\n" + OLD, plain("N1-E4 7\n")), TWO)
message("forwarded-here", "the round mail sent on by somebody else", f"Please do these.\n\n---------- Forwarded message ---------\n{HEADERS}\n{filled({'N1-E1': 14})}",
        "left: not-an-answer", From="Ada Vance <ada@test.example>", In_Reply_To=None)
message("forwarded-back", "the round mail sent on to the office", f"---------- Forwarded message ---------\n{HEADERS}\n{FORM}", "", Subject="Fwd: Apr 22: round north, 7 traps")

# By what it is known.
message("only-references", "no In-Reply-To", PLAIN, TWO, In_Reply_To=None, References="<a@b.example>\r\n <@@MESSAGE-ID@@>")
message("only-tag", "only the address is kept", PLAIN, TWO, In_Reply_To=None, References=None)
message("only-cc", "the address stands in the copy", PLAIN, TWO, In_Reply_To=None, References=None, To="Ada <ada@test.example>", Cc="Round <@@REPLY-TO@@>")
message("only-subject", "only the mark in the subject", PLAIN, TWO, In_Reply_To=None, References=None, To="<duskflight@test.example>", Subject="Re: Apr 22: round north, 7 traps [@@TAG@@]")
message("only-delivered", "only the address to which it was delivered", PLAIN, TWO, In_Reply_To=None, References=None, To="undisclosed-recipients:;", Delivered_To="@@REPLY-TO@@")
message("subject-encoded", "the subject as encoded words", PLAIN, TWO, In_Reply_To=None, References=None, To="<duskflight@test.example>",
        Subject="=?utf-8?Q?AW=3A_Apr_22=3A_round_north?=\r\n =?utf-8?Q?=2C_7_traps_=5B@@TAG@@=5D?=")
message("from-encoded", "the name as encoded words", PLAIN, TWO, From="=?utf-8?B?U8OhbSDigJxSb3dl4oCd?= <SAM@Test.Example>")
message("other-address", "from another address of theirs", PLAIN, TWO, From='"Rowe, Sam" <sam.rowe@phone.example>')
message("through-sender", "sent by another's program in their name", PLAIN, TWO, Sender="Office <office@test.example>")
message("no-mark", "a new mail that answers none", PLAIN, "left: not-an-answer", In_Reply_To=None, References=None, To="<duskflight@test.example>")
message("stranger", "from an address that nobody has", PLAIN, "left: not-an-answer", From="Sam Rowe <sam@far.example>")
message("away", "an absence note that says so in its subject alone", "I am back on 4/25. N1-E1 is at 12.\n", "left: automatic", Subject="Automatic reply: Apr 22: round north, 7 traps")

# What was written.
message("two-days", "two days in one mail", "Apr 20\nN1-E1 14\nN1-E2 0\nApr 22\nN1-E3 5\n",
        line("N1-E1", "14 eggs", "04-20") + line("N1-E2", "0 eggs", "04-20") + line("N1-E3", "5 eggs"))
message("yesterday", "a day by its word", "yesterday\nN1-E1 14\n", line("N1-E1", "14 eggs", "04-21"))
message("after-midnight", "sent after midnight of the farm, early in the day elsewhere", PLAIN, TWO, Date="Sat, 23 Apr 2022 03:05:00 +0000")
message("no-date", "no date: the morning on which it came", "N1-E1 14\n", line("N1-E1", "14 eggs", "04-23"), Date=None)
message("run", "all traps of a block in their order", "N1 12 0 0 3 -\n", line("N1-E1", "12 eggs") + line("N1-E2", "0 eggs") + line("N1-E3", "0 eggs") + line("N1-E4", "3 eggs"))
message("wrong-names", "a trap that is none, and one of somebody else", "N1-E9 4\nS1-E1 3\nN1-E1 14\n", E1 + "? N1-E9 4\n? S1-E1 3")
message("odd-counts", "one that cannot be, and a letter for a digit", "N1-E1 3000\nN1-E2 o\nN1-E3 5\n", line("N1-E3", "5 eggs") + "sure? N1-E1 3000\n? N1-E2 o")
message("words", "words of all kinds", "N1-E1 wet\nN1-E2 12 eggs, bait\nN1-P1 7, lure\nN1-E4 gone # coyote\n",
        line("N1-E1", "unreadable # wet") + line("N1-E2", "12 eggs bait") + line("N1-E4", "unreadable # gone, coyote") + line("N1-P1", "7 males lure"))
message("talk", "talk around it", "Hi Ada,\nall done by noon, it was hot. Gate 2 is broken.\n\nN1-E1 14\nN1-E2 0\n\nSee you Monday at 7,\nSam\n",
        TWO + "? all done by noon, it was hot. Gate 2 is broken.\n? See you Monday at 7,")

(HERE / "expected.txt").write_text("What each message becomes: see README.md.\n\n" + "\n".join(RESULTS))
