//! What one source file says of others, read from its tokens: comments, texts and code that only
//! tests compile are left out.

use std::collections::BTreeSet;

use proc_macro2::{Delimiter, TokenStream, TokenTree};

/// A path as it is written, one name an element.
pub(crate) type Names = Vec<String>;

/// What a file says of others.
#[derive(Default)]
pub(crate) struct Source {
    /// Modules it declares that have files of their own.
    pub(crate) modules: Vec<String>,
    pub(crate) imports: Vec<Import>,
    /// Paths in its code, names alone included.
    pub(crate) paths: BTreeSet<Names>,
    /// What it defines.
    pub(crate) items: BTreeSet<String>,
}

/// One name that a `use` brings in; `*` for all.
pub(crate) struct Import {
    pub(crate) name: String,
    pub(crate) path: Names,
    /// It is passed on: a facade, which needs nothing itself.
    pub(crate) passed_on: bool,
}

const TEST_ONLY: [&str; 7] = ["#", "[", "cfg", "(", "test", ")", "]"];
const DEFINING: [&str; 9] = [
    "fn",
    "struct",
    "enum",
    "trait",
    "type",
    "const",
    "static",
    "union",
    "macro_rules",
];

impl Source {
    pub(crate) fn read(text: &str) -> Self {
        let stream: TokenStream = text.parse().expect("a file that compiles");
        let mut words = Vec::new();
        flatten(stream, &mut words);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let mut source = Self::default();
        let mut at = 0;
        while at < words.len() {
            at += source.take(&words[..at], &words[at..]);
        }
        source
    }

    /// Takes in what stands next and says how many words that were.
    fn take(&mut self, before: &[&str], words: &[&str]) -> usize {
        match words {
            _ if words.starts_with(&TEST_ONLY) => TEST_ONLY.len() + item(&words[TEST_ONLY.len()..]),
            ["use", tree @ ..] => {
                let passed_on = matches!(before, [.., "pub"] | [.., ")"]);
                let mut imports = Vec::new();
                let rest = import(tree, &[], &mut imports);
                let imports = imports.into_iter();
                self.imports.extend(imports.map(|(name, path)| Import {
                    name,
                    path,
                    passed_on,
                }));
                words.len() - rest.len()
            }
            ["mod", name, ";", ..] => {
                self.modules.push((*name).to_owned());
                3
            }
            [defining, name, ..] if DEFINING.contains(defining) && is_name(name) => {
                self.items.insert((*name).to_owned());
                2
            }
            // What follows a range's dots is no field.
            [".", ".", ..] => 2,
            // A field, a method or a lifetime.
            ["." | "'", name, ..] if is_name(name) => 2,
            [name, ..] if is_name(name) => {
                let path = path(words);
                let read = 2 * path.len() - 1;
                self.paths.insert(path);
                read
            }
            _ => 1,
        }
    }
}

/// The words of a source in a row, brackets among them.
fn flatten(stream: TokenStream, words: &mut Vec<String>) {
    for token in stream {
        match token {
            TokenTree::Group(group) => {
                let (open, close) = match group.delimiter() {
                    Delimiter::Brace => ("{", "}"),
                    Delimiter::Bracket => ("[", "]"),
                    Delimiter::Parenthesis => ("(", ")"),
                    Delimiter::None => ("", ""),
                };
                words.push(open.to_owned());
                flatten(group.stream(), words);
                words.push(close.to_owned());
            }
            TokenTree::Punct(sign) => match words.last_mut() {
                Some(last) if last == ":" && sign.as_char() == ':' => last.push(':'),
                _ => words.push(sign.to_string()),
            },
            TokenTree::Ident(name) => words.push(name.to_string()),
            TokenTree::Literal(_) => words.push("\"\"".to_owned()),
        }
    }
}

fn is_name(word: &str) -> bool {
    word.starts_with(|first: char| first.is_alphabetic() || first == '_')
}

/// How many words the item takes that begins here.
fn item(words: &[&str]) -> usize {
    let mut depth = 0;
    for (at, word) in words.iter().enumerate() {
        match *word {
            "{" | "(" | "[" => depth += 1,
            "}" | ")" | "]" => depth -= 1,
            _ => {}
        }
        if depth == 0 && matches!(*word, "}" | ";") {
            return at + 1;
        }
    }
    words.len()
}

/// The path that begins here.
fn path(words: &[&str]) -> Names {
    let mut path = vec![words[0].to_owned()];
    let mut rest = &words[1..];
    while let ["::", name, after @ ..] = rest
        && is_name(name)
    {
        path.push((*name).to_owned());
        rest = after;
    }
    path
}

/// Reads one branch of a `use`; gives what stands after it.
fn import<'a, 'b>(
    words: &'a [&'b str],
    stem: &[String],
    imports: &mut Vec<(String, Names)>,
) -> &'a [&'b str] {
    let mut path = stem.to_owned();
    let mut rest = words;
    loop {
        match rest {
            ["{", after @ ..] => {
                rest = after;
                while rest[0] != "}" {
                    rest = import(rest, &path, imports);
                    rest = rest.strip_prefix(&[","]).unwrap_or(rest);
                }
                return &rest[1..];
            }
            ["*", after @ ..] => {
                imports.push(("*".to_owned(), path));
                return after;
            }
            ["self", after @ ..] if !path.is_empty() => rest = after,
            ["as", name, after @ ..] => {
                imports.push(((*name).to_owned(), path));
                return after;
            }
            ["::", after @ ..] => rest = after,
            [name, after @ ..] if is_name(name) => {
                path.push((*name).to_owned());
                rest = after;
            }
            _ => {
                let name = path.last().cloned().unwrap_or_default();
                imports.push((name, path));
                return rest;
            }
        }
    }
}
