//! Reads and checks the files of a project, on all cores where there are several.
//!
//! Files are read in parallel, then shared out into batches, each checked in a compiler database of its own:
//! files joined by `use` go together, so that none is looked at twice without need; where a group is too
//! large it is cut if its parts bring in little of each other. How files are shared out depends on the files
//! alone, never on the number of cores, and cannot change what is found: a batch loads whatever its files
//! use.

use crate::failure::Failure;
use crate::project::Project;
use cutwater_compiler::Db;
use cutwater_compiler::baseline::Baseline;
use cutwater_compiler::paths;
use cutwater_compiler::value::Date;
use cutwater_compiler::world::{Disk, Found, World};
use cutwater_finding::FileId;
use cutwater_report::outcome::{Collector, Outcome};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Bytes of text worth a database of their own.
const BATCH: usize = 64 << 10;

/// Fewest files for which the thread pool is woken to read them.
const READ_IN_PARALLEL: usize = 16;

/// How a project is to be checked.
#[derive(Debug, Default)]
pub struct Plan {
    /// Compute its results, too.
    pub results: bool,
    /// What day it is.
    pub today: Option<Date>,
    /// The findings that are known.
    pub baseline: Option<Arc<Baseline>>,
}

/// Checks a project.
///
/// # Errors
/// A file that was named is gone.
pub fn run(project: &Project, plan: &Plan) -> Result<Outcome, Failure> {
    let texts: Vec<Found> = if project.files.len() < READ_IN_PARALLEL {
        project.files.iter().map(|f| f.read()).collect()
    } else {
        project.files.par_iter().map(|f| f.read()).collect()
    };
    if let Some(k) = texts.iter().position(|t| *t == Found::Missing) {
        return Err(gone(project, &project.files[k].key));
    }
    let by_key: BTreeMap<&str, usize> = project
        .files
        .iter()
        .enumerate()
        .map(|(k, f)| (f.key.as_str(), k))
        .collect();
    let world = Overlay {
        texts: &texts,
        by_key: &by_key,
        disk: Disk::new(&project.root),
    };
    let sizes: Vec<usize> = texts
        .iter()
        .map(|t| match t {
            Found::Text(t) => t.len(),
            _ => 0,
        })
        .collect();
    let uses: Vec<Vec<usize>> = if project.files.len() < 2 {
        vec![Vec::new()]
    } else {
        project
            .files
            .iter()
            .zip(&texts)
            .map(|(f, t)| match t {
                Found::Text(t) => used(&f.key, t)
                    .filter_map(|p| by_key.get(p.as_str()).copied())
                    .collect(),
                _ => Vec::new(),
            })
            .collect()
    };
    let batches = share_out(&sizes, &uses);
    let check = |batch: &Vec<usize>| check(project, &texts, &world, batch, plan);
    let parts: Vec<Outcome> = if batches.len() < 2 {
        batches.iter().map(check).collect()
    } else {
        batches.par_iter().map(check).collect()
    };
    let mut out = Outcome {
        notes: project.notes.clone(),
        project: project.project_file.clone(),
        ..Outcome::default()
    };
    let mut all = Outcome::default();
    for p in parts {
        all.add(p);
    }
    // `merge` puts the order right, once.
    out.merge(all);
    Ok(out)
}

/// All files of a project in one database, settled: for work that goes over all of them again and again.
///
/// # Errors
/// A file that was named is gone.
pub fn together(project: &Project) -> Result<(Db, Vec<FileId>), Failure> {
    let texts: Vec<Found> = project.files.iter().map(|f| f.read()).collect();
    let mut db = Db::new(project.settings.clone());
    let mut named = Vec::with_capacity(texts.len());
    for (f, text) in project.files.iter().zip(&texts) {
        match text {
            Found::Text(t) => named.push(db.set_file(&f.key, t.clone())),
            Found::Trouble(t) => named.push(db.set_trouble(&f.key, t)),
            Found::Missing => return Err(gone(project, &f.key)),
        }
    }
    db.load_used(&Disk::new(&project.root));
    let _ = db.settle(true, None);
    Ok((db, named))
}

fn gone(project: &Project, key: &str) -> Failure {
    Failure::new(format!(
        "`{}` is gone: it was there when the run began",
        project.shown(key)
    ))
}

fn check(
    project: &Project,
    texts: &[Found],
    world: &dyn World,
    batch: &[usize],
    plan: &Plan,
) -> Outcome {
    let mut db = Db::new(project.settings.clone());
    db.set_today(plan.today);
    db.set_baseline(plan.baseline.clone());
    let mut named = Vec::new();
    for k in batch {
        let key = &project.files[*k].key;
        match &texts[*k] {
            Found::Text(t) => named.push(db.set_file(key, t.clone())),
            Found::Trouble(t) => named.push(db.set_trouble(key, t)),
            Found::Missing => {}
        }
    }
    db.load_used(world);
    // Nothing cancels this run: an interrupt ends the process.
    let _ = db.settle(true, None);
    let shown = |key: &str| project.shown(key);
    let collector = Collector::new(&db, &shown);
    let mut out = Outcome::default();
    for f in &named {
        out.add(collector.named(*f, plan.results));
    }
    for f in db.files() {
        let key = db.path(f).as_str();
        let was_named = project
            .files
            .binary_search_by(|n| n.key.as_str().cmp(key))
            .is_ok();
        if !was_named {
            let count = collector.count(f);
            if count.at_least(cutwater_finding::Level::Advice) > 0 {
                out.brought_in.insert(project.shown(key), count);
            }
        }
    }
    out
}

/// The disk, with the texts that were read already.
struct Overlay<'a> {
    texts: &'a [Found],
    by_key: &'a BTreeMap<&'a str, usize>,
    disk: Disk,
}

impl World for Overlay<'_> {
    fn read(&self, path: &str) -> Found {
        match self.by_key.get(path) {
            Some(k) => self.texts[*k].clone(),
            None => self.disk.read(path),
        }
    }
}

/// The paths that the `use` lines of a text seem to name: a quick look, good enough for sharing out work.
fn used<'a>(key: &'a str, text: &'a str) -> impl Iterator<Item = String> + 'a {
    text.lines()
        .filter_map(|l| l.trim_start().strip_prefix("use"))
        .filter_map(|rest| rest.trim_start().strip_prefix('"')?.split_once('"'))
        .filter_map(move |(path, _)| paths::join(key, path).ok())
        .map(|p| p.to_string())
}

/// Shares files out into batches. `uses[k]` are the files that file `k` brings in.
fn share_out(sizes: &[usize], uses: &[Vec<usize>]) -> Vec<Vec<usize>> {
    let total: usize = sizes.iter().sum();
    let target = BATCH.max(total / 64);
    let mut out: Vec<Vec<usize>> = Vec::new();
    let mut open: Vec<usize> = Vec::new();
    let mut open_size = 0;
    for group in groups(uses) {
        let size: usize = group.iter().map(|k| sizes[*k]).sum();
        if size > target {
            out.extend(cut(&group, sizes, uses, target));
            continue;
        }
        if open_size + size > target && !open.is_empty() {
            out.push(std::mem::take(&mut open));
            open_size = 0;
        }
        open.extend(&group);
        open_size += size;
    }
    if !open.is_empty() {
        out.push(open);
    }
    out
}

/// Files joined by `use`, in the order of their first members.
fn groups(uses: &[Vec<usize>]) -> Vec<Vec<usize>> {
    fn top(up: &mut [usize], mut k: usize) -> usize {
        while up[k] != k {
            up[k] = up[up[k]];
            k = up[k];
        }
        k
    }
    let mut up: Vec<usize> = (0..uses.len()).collect();
    for (a, list) in uses.iter().enumerate() {
        for b in list {
            let (a, b) = (top(&mut up, a), top(&mut up, *b));
            up[a.max(b)] = a.min(b);
        }
    }
    let mut out: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for k in 0..uses.len() {
        out.entry(top(&mut up, k)).or_default().push(k);
    }
    out.into_values().collect()
}

/// Cuts a large group into parts if that costs at most half as much again, as it does where many files use a
/// few common ones; else leaves it whole.
fn cut(group: &[usize], sizes: &[usize], uses: &[Vec<usize>], target: usize) -> Vec<Vec<usize>> {
    let whole: usize = group.iter().map(|k| sizes[*k]).sum();
    let mut parts: Vec<Vec<usize>> = vec![Vec::new()];
    let mut size = 0;
    for k in group {
        if size + sizes[*k] > target && size > 0 {
            parts.push(Vec::new());
            size = 0;
        }
        size += sizes[*k];
        if let Some(last) = parts.last_mut() {
            last.push(*k);
        }
    }
    let mut cost = 0;
    for part in &parts {
        let mut seen: BTreeSet<usize> = part.iter().copied().collect();
        let mut todo: Vec<usize> = part.clone();
        while let Some(k) = todo.pop() {
            cost += sizes[k];
            if cost > whole + whole / 2 {
                return vec![group.to_vec()];
            }
            todo.extend(uses[k].iter().filter(|u| seen.insert(**u)));
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn members(batches: &[Vec<usize>]) -> Vec<usize> {
        let mut all: Vec<usize> = batches.concat();
        all.sort_unstable();
        all
    }

    #[test]
    fn use_lines_are_found_by_a_quick_look() {
        let text =
            "//! x\nuse \"parts/hose.pump\" as stock\n  use \"../a.pump\" as a\nlet user = 1\n";
        let found: Vec<String> = used("fleet/e3.pump", text).collect();
        assert_eq!(found, ["fleet/parts/hose.pump", "a.pump"]);
    }

    #[test]
    fn files_joined_by_use_stay_together() {
        // 0 and 3 use 1; 2 and 4 stand alone.
        let uses = [vec![1], vec![], vec![], vec![1], vec![]];
        assert_eq!(groups(&uses), [vec![0, 1, 3], vec![2], vec![4]]);
        let batches = share_out(&[10; 5], &uses);
        assert_eq!(batches.len(), 1);
        assert_eq!(members(&batches), [0, 1, 2, 3, 4]);
    }

    #[test]
    fn a_fleet_that_shares_a_few_parts_is_cut_up() {
        // 1000 files of 3 kB that all use the first.
        let mut uses = vec![vec![0]; 1000];
        uses[0].clear();
        let batches = share_out(&[3000; 1000], &uses);
        assert!(batches.len() > 20, "{}", batches.len());
        assert_eq!(members(&batches), (0..1000).collect::<Vec<_>>());
    }

    #[test]
    fn a_long_chain_of_files_is_left_whole() {
        let uses: Vec<Vec<usize>> = (0..1000)
            .map(|k| if k == 0 { vec![] } else { vec![k - 1] })
            .collect();
        let batches = share_out(&[3000; 1000], &uses);
        assert_eq!(batches.len(), 1);
    }

    #[test]
    fn cycles_of_files_do_not_hang() {
        let batches = share_out(&[BATCH; 3], &[vec![1], vec![2], vec![0]]);
        assert_eq!(members(&batches), [0, 1, 2]);
    }
}
