//! Where what a name means is declared.

use crate::at::{
    Spot, Target, Thing, inherited, item_place, like_base, name_place, parameter, resolve,
    resolve_element, spot, used_file, written,
};
use cutwater_compiler::{Db, DeclId};
use cutwater_finding::{FileId, Place};
use cutwater_syntax::ast::{EntryKind, ItemKind};
use cutwater_text::Span;

/// Where something is declared.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Definition {
    /// What was asked about, in the file that was asked.
    pub origin: Span,
    /// The name of what it means.
    pub name: Place,
    /// All of what it means.
    pub whole: Place,
}

/// The declaration of what stands at an offset: an item, a field as written, a station of a lay, a file.
pub fn definition(db: &Db, file: FileId, offset: usize) -> Option<Definition> {
    let Spot {
        decl, thing, span, ..
    } = spot(db, file, offset)?;
    let (name, whole) = match thing {
        Thing::Name { path, index, decls } => {
            target_place(db, &resolve(db, decl, &path, index, decls)?)?
        }
        Thing::Element { list, steps } => {
            target_place(db, &resolve_element(db, decl, &list, &steps)?)?
        }
        Thing::Parameter(name) => target_place(db, &parameter(db, decl, &name)?)?,
        Thing::Argument(name) => target_place(db, &parameter(db, like_base(db, decl)?, &name)?)?,
        Thing::UsePath(_) => file_start(db, used_file(db, decl)?),
        Thing::DeclName => match used_file(db, decl) {
            Some(f) => file_start(db, f),
            None => (name_place(db, decl), item_place(db, decl)),
        },
        _ => return None,
    };
    Some(Definition {
        origin: span,
        name,
        whole,
    })
}

fn file_start(_db: &Db, file: FileId) -> (Place, Place) {
    let p = Place {
        file,
        span: Span::default(),
    };
    (p, p)
}

/// The place of a target's name, and of all of it.
fn target_place(db: &Db, target: &Target) -> Option<(Place, Place)> {
    Some(match target {
        Target::Item(d) => (name_place(db, *d), item_place(db, *d)),
        Target::File(f) => file_start(db, *f),
        Target::Slot(d, slot) => {
            let (_, slots) = db.kind(*d)?;
            let (name, _) = slots.list.get(*slot as usize)?;
            let parsed = db.parsed(*d);
            match written(&parsed, name) {
                Some(e) => {
                    let n = match &e.kind {
                        EntryKind::Field { name, .. } => name.span,
                        EntryKind::Table(t) => t.name.span,
                        _ => e.span,
                    };
                    (place(db, *d, n), place(db, *d, e.span))
                }
                // Inherited: where it is written.
                None if inherited(db, *d, name).is_some() => {
                    let from = inherited(db, *d, name)?;
                    return target_place(db, &Target::Slot(from, *slot));
                }
                // Computed or defaulted: the declaration it belongs to.
                None => (name_place(db, *d), item_place(db, *d)),
            }
        }
        Target::Group(d, g) => {
            let parsed = db.parsed(*d);
            let ItemKind::Decl(decl) = &parsed.item.kind else {
                return None;
            };
            decl.entries.iter().find_map(|e| match &e.kind {
                EntryKind::Group { name, .. } if name.text == g.name => {
                    Some((place(db, *d, name.span), place(db, *d, e.span)))
                }
                _ => None,
            })?
        }
        Target::Parameter(d, span) => (place(db, *d, *span), place(db, *d, *span)),
        Target::Station(lay, span, _) => (place(db, *lay, *span), place(db, *lay, *span)),
        Target::Each(rule, span, _) => (place(db, *rule, *span), place(db, *rule, *span)),
        Target::Library | Target::Part(_) | Target::EachSlot(..) => return None,
    })
}

fn place(db: &Db, d: DeclId, span: Span) -> Place {
    Place {
        file: db.file_of(d),
        span: span.shift(db.chunk(d).start),
    }
}
