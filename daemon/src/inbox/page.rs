//! HTML as text, for answers of programs that send nothing else: a line for each block, and signs before what is
//! quoted, as in plain text.

use mail_parser::decoders::html::html_to_text;

/// Elements that stand on lines of their own.
const BLOCKS: [&str; 24] = [
    "address",
    "article",
    "blockquote",
    "center",
    "dd",
    "div",
    "dl",
    "dt",
    "footer",
    "form",
    "h1",
    "h2",
    "h3",
    "h4",
    "header",
    "hr",
    "li",
    "ol",
    "p",
    "pre",
    "section",
    "table",
    "tr",
    "ul",
];
/// Deeper quotes have no more signs than this: they are all older mails.
const MOST_SIGNS: usize = 3;

/// The text of a page. The library breaks lines at `br` alone, and says nothing of quotes.
pub(super) fn page_to_text(page: &str) -> String {
    html_to_text(&laid_out(page))
}

/// The page with a `br` wherever a line begins, and signs of quoting behind it.
fn laid_out(page: &str) -> String {
    let mut out = Out {
        page: String::with_capacity(page.len()),
        quoted: 0,
        is_new: true,
    };
    // Looked for once: tags that do not end are not each looked for through the whole page.
    let last_end = page.rfind('>');
    let mut is_kept = false;
    let mut rest = page;
    while let Some(at) = rest.find('<') {
        out.text(&rest[..at], is_kept);
        rest = &rest[at..];
        if let Some(comment) = rest.strip_prefix("<!--") {
            rest = comment.find("-->").map_or("", |end| &comment[end + 3..]);
            continue;
        }
        let name = name(rest);
        let may_end = !name.is_empty() && last_end.is_some_and(|end| end > page.len() - rest.len());
        let Some(end) = may_end.then(|| rest.find('>')).flatten() else {
            out.text("&lt;", is_kept);
            rest = &rest[1..];
            continue;
        };
        let (tag, behind) = rest.split_at(end + 1);
        out.tag(tag, &name);
        if name == "pre" {
            is_kept = !tag.starts_with("</");
        }
        rest = behind;
    }
    out.text(rest, is_kept);
    out.page
}

/// The name in a tag, in small letters; empty for what is none.
fn name(tag: &str) -> String {
    let inside = tag[1..].trim_start_matches('/');
    if inside.starts_with('!') || inside.starts_with('?') {
        return "!".to_owned();
    }
    let end = inside
        .find(|letter: char| !letter.is_ascii_alphanumeric())
        .unwrap_or(inside.len());
    match inside.starts_with(|letter: char| letter.is_ascii_alphabetic()) {
        true => inside[..end].to_ascii_lowercase(),
        false => String::new(),
    }
}

struct Out {
    page: String,
    /// How many quotes are open.
    quoted: usize,
    /// Whether nothing stands on the line yet.
    is_new: bool,
}

impl Out {
    fn text(&mut self, text: &str, is_kept: bool) {
        for (place, line) in text.split('\n').enumerate() {
            match (place, is_kept) {
                (0, _) => {}
                (_, true) => self.line(),
                (_, false) => self.page.push('\n'),
            }
            self.is_new &= line.trim().is_empty();
            self.page.push_str(line);
        }
    }

    fn tag(&mut self, tag: &str, name: &str) {
        match name {
            "br" => self.line(),
            "blockquote" => {
                self.quoted = match tag.starts_with("</") {
                    true => self.quoted.saturating_sub(1),
                    false => self.quoted + 1,
                };
                self.line();
            }
            "td" | "th" => self.page.push(' '),
            name if BLOCKS.contains(&name) => {
                if !self.is_new {
                    self.line();
                }
            }
            _ => self.page.push_str(tag),
        }
    }

    fn line(&mut self) {
        self.page.push_str("<br>");
        for _ in 0..self.quoted.min(MOST_SIGNS) {
            self.page.push_str("&gt;");
        }
        self.page.push(' ');
        self.is_new = true;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(page: &str) -> Vec<String> {
        let text = page_to_text(page);
        let lines = text.lines().map(|line| line.trim().to_owned());
        lines
            .filter(|line| !line.trim_matches('>').is_empty())
            .collect()
    }

    #[test]
    fn blocks_are_lines_and_cells_are_words() {
        let page = "<html><head><style>p > b { x: y }</style></head><body><div>e1 1</div><div>2 traps gone</div>\
                    <table><tr><td>e2</td><td>12</td></tr><tr><td>e3</td><td>0</td></tr></table>\
                    <ul><li>e4 5<li>p1 7</ul>e5\n6<p>e6 <b>1</b>2</p></body></html>";
        let expected = [
            "e1 1",
            "2 traps gone",
            "e2 12",
            "e3 0",
            "e4 5",
            "p1 7",
            "e5 6",
            "e6 12",
        ];
        assert_eq!(lines(page), expected);
    }

    #[test]
    fn what_is_quoted_has_signs() {
        let page = "<div>e1 1</div><blockquote><div>e2 = 2</div><blockquote>old<br>older</blockquote>e3 =</blockquote><div>3</div>";
        let expected = ["e1 1", "> e2 = 2", ">> old", ">> older", "> e3 =", "3"];
        assert_eq!(lines(page), expected);
    }

    #[test]
    fn comments_preformatted_text_and_bare_signs_are_read_as_a_browser_does() {
        let page = "<!--[if mso]>e1 99<![endif]---->e1 1<pre>e2 2\ne3 3</pre>4 < 5 &amp; &lt;b&gt;<!-- open e9 1";
        assert_eq!(lines(page), ["e1 1", "e2 2", "e3 3", "4 < 5 & <b>"]);
    }
}
