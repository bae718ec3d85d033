//! The files of a crate and which of them uses which.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fmt;
use std::path::{Path, PathBuf};

use crate::source::{Names, Source};

/// Imports that lead to imports are followed so far; further only where one leads to itself.
const DEEPEST: usize = 16;

/// Who uses whom, and by what.
pub(crate) struct Arrow {
    pub(crate) from: PathBuf,
    pub(crate) to: PathBuf,
    pub(crate) by: String,
}

impl fmt::Display for Arrow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { from, to, by } = self;
        write!(f, "{} → {} by {by}", from.display(), to.display())
    }
}

/// The files of a crate, each the module by whose path it is known.
pub(crate) struct Files {
    modules: BTreeMap<Names, Module>,
}

struct Module {
    file: PathBuf,
    source: Source,
}

/// What a path leads to.
enum Target {
    Module(Names),
    /// Something that stands in this module.
    Within(Names),
    /// Another crate, or nothing that has a name of its own.
    Foreign,
}

impl Files {
    /// The files that the root declares, one under the other. What only tests declare is left out, and
    /// so are modules that stand inside a file: they count as that file.
    pub(crate) fn of(sources: &BTreeMap<PathBuf, String>) -> Self {
        let mut modules = BTreeMap::new();
        let mut declared = vec![Names::new()];
        while let Some(names) = declared.pop() {
            let file = file_of(&names, sources);
            let source = Source::read(&sources[&file]);
            for name in &source.modules {
                declared.push(below(&names, name));
            }
            modules.insert(names, Module { file, source });
        }
        Self { modules }
    }

    /// The arrows between files, one for each two: a file uses another that holds what it names.
    pub(crate) fn arrows(&self) -> Vec<Arrow> {
        let mut arrows = BTreeMap::new();
        for (names, module) in &self.modules {
            let imports = module.source.imports.iter();
            let needed = imports.filter(|import| !import.passed_on);
            let paths = needed.map(|import| &import.path);
            for path in paths.chain(&module.source.paths) {
                if let Target::Within(target) = self.follow(names, path, 0)
                    && target != *names
                {
                    let ends = (module.file.clone(), self.modules[&target].file.clone());
                    arrows.entry(ends).or_insert_with(|| path.join("::"));
                }
            }
        }
        let arrows = arrows.into_iter();
        arrows
            .map(|((from, to), by)| Arrow { from, to, by })
            .collect()
    }

    /// Where a path leads that is written in a module.
    fn follow(&self, module: &Names, path: &[String], depth: usize) -> Target {
        let (first, rest) = path.split_first().expect("a path has names");
        let mut target = match first.as_str() {
            "crate" => Target::Module(Names::new()),
            "self" => Target::Module(module.clone()),
            "super" => parent(module),
            name => self.named(module, name, depth),
        };
        for name in rest {
            target = match target {
                Target::Module(inside) if name == "super" => parent(&inside),
                Target::Module(inside) => match self.named(&inside, name, depth) {
                    // What a macro makes, or what it passes on from another crate.
                    Target::Foreign => Target::Within(inside),
                    found => found,
                },
                found => return found,
            };
        }
        target
    }

    /// What a name means in a module.
    fn named(&self, module: &Names, name: &str, depth: usize) -> Target {
        let source = &self.modules[module].source;
        let child = below(module, name);
        if self.modules.contains_key(&child) {
            return Target::Module(child);
        }
        if source.items.contains(name) {
            return Target::Within(module.clone());
        }
        if depth == DEEPEST {
            return Target::Foreign;
        }
        if let Some(import) = source.imports.iter().find(|import| import.name == name) {
            return self.follow(module, &import.path, depth + 1);
        }
        let all = source.imports.iter().filter(|import| import.name == "*");
        let among = all.map(
            |import| match self.follow(module, &import.path, depth + 1) {
                Target::Module(from) if from != *module => self.named(&from, name, depth + 1),
                _ => Target::Foreign,
            },
        );
        let mut among = among.filter(|target| !matches!(target, Target::Foreign));
        among.next().unwrap_or(Target::Foreign)
    }
}

fn below(module: &[String], name: &str) -> Names {
    let mut names = module.to_owned();
    names.push(name.to_owned());
    names
}

fn parent(module: &[String]) -> Target {
    Target::Module(module[..module.len().saturating_sub(1)].to_owned())
}

/// The file that holds a module: by its name, or in a folder of its name.
fn file_of(module: &[String], sources: &BTreeMap<PathBuf, String>) -> PathBuf {
    let path: PathBuf = module.iter().collect();
    let candidates = if module.is_empty() {
        [PathBuf::from("lib.rs"), PathBuf::from("main.rs")]
    } else {
        [path.with_extension("rs"), path.join("mod.rs")]
    };
    let found = candidates
        .into_iter()
        .find(|file| sources.contains_key(file));
    found.unwrap_or_else(|| panic!("no file holds {}", module.join("::")))
}

/// Circles of arrows, the shortest first, an arrow a line; of those that meet, the first alone.
pub(crate) fn circles(arrows: &[Arrow]) -> Vec<String> {
    let starts: BTreeSet<&Path> = arrows.iter().map(|arrow| arrow.from.as_path()).collect();
    let mut ways: Vec<Vec<&Arrow>> = starts
        .into_iter()
        .filter_map(|start| way_back(start, arrows))
        .collect();
    ways.sort_by_key(Vec::len);
    let mut met = BTreeSet::new();
    ways.retain(|way| {
        let apart = way.iter().all(|arrow| !met.contains(&arrow.from));
        met.extend(way.iter().map(|arrow| &arrow.from));
        apart
    });
    let lines = |way: Vec<&Arrow>| way.into_iter().map(Arrow::to_string).collect::<Vec<_>>();
    ways.into_iter().map(|way| lines(way).join("\n")).collect()
}

/// The shortest way along the arrows from a place back to it.
fn way_back<'a>(start: &Path, arrows: &'a [Arrow]) -> Option<Vec<&'a Arrow>> {
    let mut ways = VecDeque::from([(start, Vec::new())]);
    let mut seen = BTreeSet::new();
    while let Some((at, way)) = ways.pop_front() {
        for arrow in arrows.iter().filter(|arrow| arrow.from == at) {
            let mut way = way.clone();
            way.push(arrow);
            if arrow.to == start {
                return Some(way);
            }
            if seen.insert(&arrow.to) {
                ways.push_back((&arrow.to, way));
            }
        }
    }
    None
}
