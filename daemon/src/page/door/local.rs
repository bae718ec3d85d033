//! Where to go after a sign-in: only to a page of our own.

/// The longest path that is gone back to, in bytes.
const LONGEST: usize = 1000;

/// The way back to a page of ours; to the first page where it is no plain path of one.
pub(super) fn local(to: &str) -> &str {
    let is_plain = |c: char| c.is_ascii_graphic() && c != '\\';
    let is_path = to.starts_with('/') && !to.starts_with("//");
    match is_path && to.len() <= LONGEST && to.chars().all(is_plain) {
        true => to,
        false => "/",
    }
}

/// The address of the sign-in that goes on to a path.
pub(super) fn sign_in_to(path: &str) -> String {
    if local(path) == "/" {
        return "/sign-in".to_owned();
    }
    let mut escaped = String::new();
    for c in path.chars() {
        match c {
            '%' | '&' | '+' | '#' | '"' | '<' | '>' => {
                escaped.push_str(&format!("%{:02X}", u32::from(c)));
            }
            c => escaped.push(c),
        }
    }
    format!("/sign-in?to={escaped}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_path_of_our_own_is_gone_back_to() {
        for path in ["/", "/blocks/home?as-of=2022-06-01", "/a//b", "/%2F%2Fevil"] {
            assert_eq!(local(path), path);
        }
        for elsewhere in [
            "",
            "//evil.example",
            "/\\evil.example",
            "\\\\evil.example",
            "http://evil.example",
            "evil.example",
            "javascript:alert(1)",
            "/a\r\nSet-Cookie: a=b",
            "/ä",
            "/ /evil.example",
            "/\t/evil.example",
        ] {
            assert_eq!(local(elsewhere), "/", "{elsewhere:?}");
        }
        assert_eq!(local(&format!("/{}", "a".repeat(2000))), "/");
    }

    #[test]
    fn the_way_back_is_written_so_that_it_stays_one() {
        assert_eq!(sign_in_to("/"), "/sign-in");
        let to = sign_in_to("/blocks?of=gil&as-of=2022-06-01");
        assert_eq!(to, "/sign-in?to=/blocks?of=gil%26as-of=2022-06-01");
        assert_eq!(sign_in_to("//evil.example"), "/sign-in");
    }
}
