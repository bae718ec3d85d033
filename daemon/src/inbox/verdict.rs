//! What the receiving server found out about a sender (`Authentication-Results`, RFC 8601).

use mail_parser::Message;

/// What a named server found out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// No server is named, or it says nothing of this message.
    Nothing,
    /// The sender's domain stands for the message.
    Passed,
    /// It does not.
    Failed,
}

/// What the server of a name says of a message. Its own headers stand above all that came with the message, so only
/// the topmost with a result for the sender's domain (DMARC, RFC 7489) is believed; one that failed counts wherever
/// it stands.
pub(super) fn verdict(message: &Message<'_>, server: &str, from: &str) -> Verdict {
    let domain = from.rsplit_once('@').map_or("", |(_, domain)| domain);
    let mut first = None;
    for header in message
        .headers_raw()
        .filter(|(name, _)| name.eq_ignore_ascii_case("Authentication-Results"))
    {
        match result(header.1, server, domain) {
            Some(Verdict::Failed) => return Verdict::Failed,
            Some(found) => first = first.or(Some(found)),
            None => {}
        }
    }
    first.unwrap_or(Verdict::Nothing)
}

/// The result for a domain in one header of the server; `None` where it is another's or has none. Where it has several,
/// they must all have passed.
fn result(header: &str, server: &str, domain: &str) -> Option<Verdict> {
    let parts = parts(&header.to_ascii_lowercase());
    let (name, parts) = parts.split_first()?;
    if name.split_whitespace().next()? != server.to_ascii_lowercase() {
        return None;
    }
    let found = parts.iter().filter_map(|part| of_method(part, domain));
    found.reduce(|all, one| match (all, one) {
        (Verdict::Failed, _) | (_, Verdict::Failed) => Verdict::Failed,
        (Verdict::Passed, Verdict::Passed) => Verdict::Passed,
        _ => Verdict::Nothing,
    })
}

/// What one method found out; `None` where it is not DMARC.
fn of_method(part: &str, domain: &str) -> Option<Verdict> {
    let (method, found) = part.split_once('=')?;
    // A version may stand behind its name.
    if method.split('/').next()?.trim() != "dmarc" {
        return None;
    }
    let mut words = found.split_whitespace();
    let outcome = words.next()?;
    let about = words.find_map(|word| word.strip_prefix("header.from="));
    Some(match outcome {
        "fail" => Verdict::Failed,
        "pass" if about.is_none_or(|about| about == domain) => Verdict::Passed,
        _ => Verdict::Nothing,
    })
}

/// The parts of a header between semicolons, without what stands in brackets, one within another or not. What stands in
/// quotes is text and neither: it may come from whoever sent the message.
fn parts(header: &str) -> Vec<String> {
    let mut parts = vec![String::new()];
    let mut depth = 0_u32;
    let mut is_quoted = false;
    let mut letters = header.chars();
    while let Some(letter) = letters.next() {
        let is_text = is_quoted || depth == 0;
        match letter {
            '\\' if is_quoted || depth > 0 => drop(letters.next()),
            '"' if depth == 0 => is_quoted = !is_quoted,
            '(' if !is_quoted => depth += 1,
            ')' if !is_quoted => depth = depth.saturating_sub(1),
            ';' if !is_quoted && depth == 0 => parts.push(String::new()),
            // A blank in quotes parts no words.
            letter if is_quoted && letter.is_whitespace() => {}
            letter if is_text => parts
                .last_mut()
                .into_iter()
                .for_each(|part| part.push(letter)),
            _ => {}
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use mail_parser::MessageParser;

    use super::*;

    fn of(headers: &str) -> Verdict {
        let text = format!("{headers}From: <pete@farm.example>\r\n\r\nN1-E1 3\r\n");
        let message = MessageParser::default().parse(text.as_bytes()).unwrap();
        verdict(&message, "mx.host.example", "pete@farm.example")
    }

    #[test]
    fn only_the_named_servers_word_counts_and_a_failure_anywhere() {
        let by = |server: &str, result: &str| {
            format!(
                "Authentication-Results: {server};\r\n spf=pass smtp.mailfrom=x.example;\r\n {result}\r\n"
            )
        };
        let ours = |result: &str| by("mx.host.example", result);
        assert_eq!(of(""), Verdict::Nothing);
        assert_eq!(
            of(&ours("dmarc=pass header.from=farm.example")),
            Verdict::Passed
        );
        assert_eq!(
            of(&ours(
                "dmarc=pass (p=none dis=none) header.from=farm.example"
            )),
            Verdict::Passed
        );
        assert_eq!(
            of(&ours("dmarc=pass header.from=other.example")),
            Verdict::Nothing
        );
        assert_eq!(
            of(&ours("dkim=pass header.d=farm.example")),
            Verdict::Nothing
        );
        assert_eq!(
            of(&by("forged.example", "dmarc=pass header.from=farm.example")),
            Verdict::Nothing
        );
        assert_eq!(of(&ours("x=y (dmarc=pass; dmarc=pass)")), Verdict::Nothing);
        let failed = ours("dmarc=fail header.from=farm.example");
        assert_eq!(of(&failed), Verdict::Failed);
        assert_eq!(
            of(&(ours("dmarc=pass header.from=farm.example") + &failed)),
            Verdict::Failed
        );
        // What a sender may have put into a result that stands before.
        for smuggled in [
            r#"spf=none smtp.mailfrom="x; dmarc=pass header.from=farm.example"@y.example; dmarc=fail header.from=farm.example"#,
            r#"spf=none smtp.mailfrom="(x"@y.example; dmarc=fail header.from=farm.example"#,
            "spf=none smtp.mailfrom=x; dmarc=pass header.from=farm.example@y.example; dmarc = fail header.from=farm.example",
            "dmarc/1=fail header.from=farm.example",
        ] {
            assert_eq!(of(&ours(smuggled)), Verdict::Failed, "{smuggled}");
        }
        assert_eq!(
            of(&ours(r#"dmarc=pass header.from="farm.example""#)),
            Verdict::Passed
        );
        let none = ours("dmarc=none header.from=farm.example");
        assert_eq!(
            of(&(none + &ours("dmarc=pass header.from=farm.example"))),
            Verdict::Nothing
        );
    }
}
