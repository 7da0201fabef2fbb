//! Imports inside a crate run down: no file needs, by whatever way round, a file that needs it.
//!
//! An arrow runs from a file to the file that defines a name it takes by `use` or by a path in its
//! code, through any re-exports on the way. Declaring a child (`mod x;`) is no arrow, nor is handing
//! a name on (`pub use`) that the file does not use itself. Calls of methods are not seen.

use std::collections::{BTreeMap, BTreeSet};

use super::{Source, shipped, sources};

/// Where circles may stand, and why: none.
const CIRCLES: &[(&str, &str)] = &[];

#[test]
fn imports_inside_a_crate_run_in_no_circle() {
    let all: Vec<Source> = sources();
    let mut circles = Vec::new();
    for root in roots(&all) {
        let files = all.iter().filter_map(|source| {
            let inside = source.path.strip_prefix(&root)?;
            Some((inside.to_owned(), shipped(source)?))
        });
        let arrows = arrows(&files.collect());
        let named = |file: &String| format!("{root}{file}");
        for circle in circles_of(&arrows) {
            let files: BTreeSet<String> = circle.iter().map(named).collect();
            let tied =
                arrows.iter().filter(|(from, to, _)| circle.contains(from) && circle.contains(to));
            let lines: Vec<String> =
                tied.map(|(from, to, name)| format!("  {from} -> {to}: {name}")).collect();
            circles.push((files, format!("in {root}\n{}", lines.join("\n"))));
        }
    }
    let excuses = |files: &BTreeSet<String>| {
        CIRCLES.iter().any(|(room, _)| files.iter().all(|file| file.starts_with(room)))
    };
    let wrong: Vec<&str> = circles
        .iter()
        .filter(|(files, _)| !excuses(files))
        .map(|(_, lines)| lines.as_str())
        .collect();
    assert!(
        wrong.is_empty(),
        "{} circles: move what both need into a file below both.\n{}",
        wrong.len(),
        wrong.join("\n")
    );
    let stands =
        |room: &str| circles.iter().any(|(files, _)| files.iter().all(|it| it.starts_with(room)));
    let gone: Vec<&str> =
        CIRCLES.iter().map(|(room, _)| *room).filter(|room| !stands(room)).collect();
    assert!(gone.is_empty(), "no circle stands there any more, take them out of CIRCLES: {gone:?}");
}

/// Folders of the crates' own code: where a `lib.rs` or `main.rs` lies.
fn roots(all: &[Source]) -> BTreeSet<String> {
    let root = |source: &Source| {
        let folder =
            source.path.strip_suffix("src/lib.rs").or(source.path.strip_suffix("src/main.rs"))?;
        Some(format!("{folder}src/"))
    };
    all.iter().filter_map(root).collect()
}

type Module = Vec<String>;

/// What is read of a crate: each module's file and code.
struct Crate {
    files: BTreeMap<Module, (String, Code)>,
}

/// A file's imports, and its code without them.
struct Code {
    uses: Vec<Use>,
    rest: String,
}

/// One imported name.
struct Use {
    public: bool,
    path: Vec<String>,
    name: String,
}

/// From file to file, with one name that ties them; of several names the first.
type Arrow = (String, String, String);

fn arrows(files: &BTreeMap<String, String>) -> Vec<Arrow> {
    let module = |file: &str| -> Module {
        let path = file.trim_end_matches(".rs");
        let path = path.strip_suffix("/mod").unwrap_or(path);
        if ["lib", "main"].contains(&path) {
            return Vec::new();
        }
        path.split('/').map(str::to_owned).collect()
    };
    let read = |(file, code): (&String, &String)| (module(file), (file.clone(), Code::read(code)));
    let all = Crate { files: files.iter().map(read).collect() };
    let mut arrows: BTreeMap<(String, String), String> = BTreeMap::new();
    for (module, (file, code)) in &all.files {
        for path in code.taken() {
            if let Some(to) = all.definer(module, &path, 0)
                && to != *file
            {
                arrows.entry((file.clone(), to)).or_insert_with(|| path.join("::"));
            }
        }
    }
    arrows.into_iter().map(|((from, to), name)| (from, to, name)).collect()
}

impl Code {
    fn read(code: &str) -> Self {
        let (mut uses, mut rest) = (Vec::new(), String::new());
        let mut left = code;
        while let Some(at) = next_use(left) {
            rest.push_str(&left[..at]);
            let (item, after) = left[at..].split_once(';').unwrap_or((&left[at..], ""));
            let before = left[..at].trim_end();
            let public = before.ends_with("pub")
                || before.rsplit_once("pub(").is_some_and(|(_, scope)| {
                    scope.ends_with(')') && !scope[..scope.len() - 1].contains([')', ';', '}'])
                });
            expand(item.trim_start_matches("use "), &[], public, &mut uses);
            left = after;
        }
        rest.push_str(left);
        Self { uses, rest }
    }

    /// Every path whose name this file takes: what it imports for itself, and the paths in its code,
    /// their first part replaced by what was imported under it.
    fn taken(&self) -> Vec<Vec<String>> {
        let mut before = "";
        let words: BTreeSet<&str> = self
            .rest
            .split(|c: char| !is_word(c))
            .filter(|word| !word.is_empty())
            // The name of a declared child is no use of what is handed on under the same name.
            .filter(|word| std::mem::replace(&mut before, word) != "mod")
            .collect();
        let imported = self.uses.iter().filter(|it| !it.public || words.contains(it.name.as_str()));
        let mut all: Vec<Vec<String>> = imported.map(|it| it.path.clone()).collect();
        for path in paths(&self.rest) {
            let alias = self.uses.iter().find(|it| it.name == path[0]);
            let first = alias.map_or_else(|| vec![path[0].clone()], |it| it.path.clone());
            all.push(first.into_iter().chain(path[1..].iter().cloned()).collect());
        }
        all
    }
}

impl Crate {
    /// The file that defines what this path, written in that module, names; `None` for what is of
    /// another crate, and for a module as such (what is taken from it has paths of its own).
    fn definer(&self, from: &Module, path: &[String], depth: usize) -> Option<String> {
        let mut at = from.clone();
        let mut rest = path;
        while let [first, more @ ..] = rest {
            match first.as_str() {
                "crate" => at = Vec::new(),
                "self" => {}
                "super" => drop(at.pop()),
                _ => break,
            }
            rest = more;
        }
        let relative = rest.len() < path.len();
        while let [first, more @ ..] = rest {
            let child = [at.as_slice(), std::slice::from_ref(first)].concat();
            if !self.files.contains_key(&child) {
                break;
            }
            (at, rest) = (child, more);
        }
        let entered = relative || at != *from;
        let name = rest.first().filter(|_| entered)?;
        let (file, code) = self.files.get(&at)?;
        // Handed on from elsewhere: a handful of steps at most.
        let onward = code.uses.iter().find(|it| it.name == *name).filter(|_| depth < 8);
        let there = onward.and_then(|it| self.definer(&at, &it.path, depth + 1));
        Some(there.unwrap_or_else(|| file.clone()))
    }
}

/// Where the next `use` item begins.
fn next_use(code: &str) -> Option<usize> {
    let starts = |at: &usize| {
        let before = code[..*at].trim_end();
        before.is_empty() || before.ends_with([';', '}', '{', ']', ')']) || before.ends_with("pub")
    };
    code.match_indices("use ").map(|(at, _)| at).find(starts)
}

/// Takes a tree of imports apart: `a::{b, c::{self, d as e}}`.
fn expand(tree: &str, before: &[String], public: bool, into: &mut Vec<Use>) {
    let tree = tree.trim();
    let (head, inner) = match tree.split_once('{') {
        Some((head, inner)) => (head, Some(inner.trim_end().trim_end_matches('}'))),
        None => (tree, None),
    };
    let (head, alias) = head.split_once(" as ").map_or((head, None), |(a, b)| (a, Some(b.trim())));
    let parts = head.split("::").map(str::trim).filter(|part| !part.is_empty());
    let mut path: Vec<String> = before.iter().cloned().chain(parts.map(str::to_owned)).collect();
    if let Some(inner) = inner {
        for one in split(inner) {
            expand(one, &path, public, into);
        }
        return;
    }
    if path.len() > 1 && path.last().is_some_and(|last| last == "self") {
        path.pop();
    }
    let Some(name) = alias.map(str::to_owned).or_else(|| path.last().cloned()) else { return };
    into.push(Use { public, path, name });
}

/// At the commas that are in no braces; the last brace may be the outer tree's own.
fn split(inner: &str) -> Vec<&str> {
    let (mut depth, mut from, mut all) = (0_usize, 0, Vec::new());
    for (at, c) in inner.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth = depth.saturating_sub(1),
            ',' if depth == 0 => {
                all.push(&inner[from..at]);
                from = at + 1;
            }
            _ => {}
        }
    }
    all.push(&inner[from..]);
    all.retain(|one| !one.trim().is_empty());
    all
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// Paths of at least two parts in code.
fn paths(code: &str) -> Vec<Vec<String>> {
    let (mut all, mut rest) = (Vec::new(), code);
    while let Some(at) = rest.find("::") {
        let first = rest[..at].rsplit(|c| !is_word(c)).next().unwrap_or_default();
        let end = rest[at..].find(|c| !is_word(c) && c != ':').map_or(rest.len(), |end| at + end);
        if !first.is_empty() {
            let parts = rest[at - first.len()..end].split("::").map(str::to_owned);
            all.push(parts.filter(|part| !part.is_empty() && !part.contains(':')).collect());
        }
        rest = &rest[end.max(at + 2)..];
    }
    all
}

/// Sets of files each of which leads to every other.
fn circles_of(arrows: &[Arrow]) -> Vec<BTreeSet<String>> {
    let reached = |from: &String| {
        let (mut seen, mut next) = (BTreeSet::new(), vec![from]);
        while let Some(file) = next.pop() {
            let onward = arrows.iter().filter(|(other, ..)| other == file).map(|(_, to, _)| to);
            next.extend(onward.filter(|to| seen.insert((*to).clone())));
        }
        seen
    };
    let files: BTreeSet<&String> = arrows.iter().flat_map(|(from, to, _)| [from, to]).collect();
    let reach: BTreeMap<&String, BTreeSet<String>> =
        files.into_iter().map(|file| (file, reached(file))).collect();
    let circle = |(file, seen): (&&String, &BTreeSet<String>)| {
        let back = |other: &&String| reach.get(other).is_some_and(|seen| seen.contains(*file));
        let circle: BTreeSet<String> = seen.iter().filter(back).cloned().collect();
        (!circle.is_empty()).then_some(circle)
    };
    let all: BTreeSet<BTreeSet<String>> = reach.iter().filter_map(circle).collect();
    all.into_iter().collect()
}

#[test]
fn this_reader_of_imports_sees_a_circle_and_only_that() {
    let read = |files: &[(&str, &str)]| {
        let files = files.iter().map(|(file, code)| ((*file).to_owned(), (*code).to_owned()));
        circles_of(&arrows(&files.collect()))
    };
    let down = [
        ("lib.rs", "mod a; mod b; mod d; pub use a::{top, A as Best}; pub mod c; pub use d::d;"),
        ("d.rs", "use crate::Best; pub fn d() {}"),
        ("a.rs", "use crate::{b::{self, B}, c}; fn top() { b::low(); c::deep::at() }"),
        ("b.rs", "use std::fmt; pub struct B; pub fn low() { let x = super::c::deep::at(); }"),
        ("c/mod.rs", "mod deep; pub use self::deep::at; use deep::Deep; fn f(d: Deep) {}"),
        ("c/deep.rs", "pub struct Deep; pub(crate) use std::io; impl Deep { fn g() { io::x(); } }"),
    ];
    assert!(read(&down).is_empty(), "{:?}", read(&down));
    // What is handed on is followed to where it is defined, not to who hands it on.
    let mut handed = down;
    handed[5].1 = "use crate::Best; pub struct Deep;";
    let [circle] = &read(&handed)[..] else { panic!("{:?}", read(&handed)) };
    assert_eq!(
        circle.iter().map(String::as_str).collect::<Vec<_>>(),
        ["a.rs", "b.rs", "c/deep.rs"]
    );
    // A child that takes its parent's type, where the parent uses the child's.
    let parent = [
        ("lib.rs", "mod p;"),
        ("p/mod.rs", "mod q; use q::Q; pub struct P(Q);"),
        ("p/q.rs", "pub struct Q; impl Q { fn of(p: super::P) -> Self { Q } }"),
    ];
    assert_eq!(read(&parent).len(), 1);
    assert_eq!(paths("a::b::<c::D>(e::f)").len(), 3);
}
