//! The findings of the language itself, and the registry of all findings.
//!
//! A finding that belongs to one kind is declared in that kind's file; this file holds those of texts, names,
//! units and values. [`all`] gives every one.

use cutwater_finding::Code;

macro_rules! codes {
    (settings: $($rest:tt)*) => { $crate::codes::codes!(@Settings $($rest)*); };
    (@$sample:ident $($(#[doc = $doc:literal])* $name:ident = $id:literal $word:literal $level:ident, $summary:literal, $page:literal, fires $fires:literal, silent $silent:literal $(, fixes $($tier:ident)|+)?;)*) => {
        $(
            $(#[doc = $doc])*
            #[doc = $summary]
            pub static $name: ::cutwater_finding::Code = ::cutwater_finding::Code {
                id: $id,
                name: $word,
                level: ::cutwater_finding::Level::$level,
                since: "0.1.0",
                summary: $summary,
                page: $page,
                sample: ::cutwater_finding::Sample::$sample,
                fires: $fires,
                silent: $silent,
                fixes: &[$($(::cutwater_finding::FixTier::$tier),+)?],
            };
        )*
        /// The findings declared in this file.
        pub static CODES: &[&::cutwater_finding::Code] = &[$(&$name),*];
    };
    ($($rest:tt)*) => { $crate::codes::codes!(@Spec $($rest)*); };
}
pub(crate) use codes;

codes! {
    SYNTAX = "CW0101" "syntax" Error, "The text is not well formed here.",
        "Something else was expected at this place. Only the line or block it stands in is left out; everything else is still checked.",
        fires "let gap = \n", silent "let gap = 0.005 in\n", fixes NeedsALook;
    BRACKET = "CW0102" "bracket" Error, "A bracket has no partner.",
        "Every `{`, `(` and `[` needs its closing partner. Where one is missing it is taken to close where the lines step back, so that the rest is still checked.",
        fires "site { altitude = 820 ft\n", silent "site { altitude = 820 ft }\n", fixes NeedsALook;
    TOO_DEEP = "CW0103" "too-deep" Error, "Too many brackets are open at once.",
        "Real specs open a handful of brackets at once. Name inner parts with `let`.",
        fires "let x = ((((((((((((((((((((((((((((((((((((((((((((((((((1))))))))))))))))))))))))))))))))))))))))))))))))))\n", silent "let x = ((1))\n";
    NOT_UTF8 = "CW0104" "not-utf8" Error, "The file is not UTF-8 text.",
        "Specs are UTF-8. Save the file in that encoding.",
        fires "", silent "let x = 1\n";
    FILE_TOO_BIG = "CW0105" "file-too-big" Error, "The file is larger than what is read.",
        "Split it into several files and join them with `use`.",
        fires "", silent "let x = 1\n";
    FILE_UNREADABLE = "CW0106" "file-unreadable" Error, "The file cannot be read.",
        "The file is there, but reading it failed. Check its permissions.",
        fires "", silent "let x = 1\n";

    UNKNOWN_KIND = "CW0201" "unknown-kind" Error, "No such kind of declaration.",
        "A declaration begins with the word of its kind, such as `pump`, `ring` or `hose`.",
        fires "pmup main { }\n", silent "site { altitude = 820 ft }\n", fixes NeedsALook;
    UNKNOWN_NAME = "CW0202" "unknown-name" Error, "Nothing has this name here.",
        "Names are those declared in the file, fields of the same declaration, files brought in with `use … as name`, and `std` for the standard library.",
        fires "let a = 2 in\nlet b = aa + 1 in\n", silent "let a = 2 in\nlet b = a + 1 in\n", fixes Safe | NeedsALook;
    DUPLICATE_NAME = "CW0203" "duplicate-name" Error, "A name is declared twice.",
        "Every declaration in a file has a name of its own, so that a path means one thing.",
        fires "let a = 2 in\nlet a = 3 in\n", silent "let a = 2 in\nlet b = 3 in\n";
    UNKNOWN_FIELD = "CW0204" "unknown-field" Error, "The kind has no such field, table or block.",
        "Each kind has its own fields. The message names the nearest one.",
        fires "site { altitud = 820 ft }\n", silent "site { altitude = 820 ft }\n", fixes NeedsALook;
    DUPLICATE_FIELD = "CW0205" "duplicate-field" Error, "A field is given twice.",
        "A field has one value. Keep the right one.",
        fires "site {\n    altitude = 820 ft\n    altitude = 900 ft\n}\n", silent "site { altitude = 820 ft }\n", fixes NeedsALook;
    MISSING_FIELD = "CW0206" "missing-field" Error, "A field that must be there is missing.",
        "What the kind is about cannot be said or computed without it.",
        fires "material bronze { }\n", silent "material bronze { density = 0.318 lb/in^3 }\n", fixes NeedsALook;
    FILE_NOT_FOUND = "CW0207" "file-not-found" Error, "The file in a `use` line is not there.",
        "Paths are taken from the file that says `use`, with `/` between their parts.",
        fires "use \"parts/none.pump\" as none\n", silent "let x = 1\n";
    OUTSIDE = "CW0208" "outside-workspace" Error, "A `use` path leaves the workspace.",
        "A spec may only read files inside its own workspace, so that it means the same on every machine.",
        fires "use \"../../other.pump\" as other\n", silent "let x = 1\n";
    NAME_FORM = "CW0209" "name-form" Error, "A name is missing, reserved, or has characters names do not have.",
        "Names are letters, digits and `_`, and begin with a letter. `std` is the standard library.",
        fires "let std = 2 in\n", silent "let gap = 2 in\n";
    CYCLE = "CW0210" "cycle" Error, "A value needs itself.",
        "Values may be written in any order, but none may depend on itself, directly or by way of others. The finding names the whole way round.",
        fires "let a = b + 1 in\nlet b = a + 1 in\n", silent "let a = 1 in\nlet b = a + 1 in\n";

    UNUSED_USE = "CW0220" "unused-use" Advice, "A file is brought in and nothing is taken from it.",
        "A `use` line is needed where its name begins a path, where the file it names says the `site` or the `water` that holds here, or where a rule of the file asks for every declaration of a kind. A line that does nothing of this may go.",
        fires "use \"parts.pump\" as parts\nlet x = 1 in\n", silent "use \"parts.pump\" as parts\nlet x = parts.spare\n", fixes Safe;
    ARGUMENTS = "CW0221" "arguments" Error, "A function or pattern is not given what it takes.",
        "A function takes as many values as it has parameters, in their order: `gap(ring.bore, hub)`. A pattern is filled in by name: `like wear_ring(hub = 5.497 in)`; only parameters with a value of their own may be left out.",
        fires "let gap(bore, hub) = (bore - hub) / 2\nlet a = gap(5.502 in)\n", silent "let gap(bore, hub) = (bore - hub) / 2\nlet a = gap(5.502 in, 5.497 in)\n", fixes NeedsALook;
    PATTERN_AS_PART = "CW0222" "pattern-as-part" Error, "A pattern or function stands where a part or value is wanted.",
        "A declaration with parameters is a pattern for others and no part itself; a `let` with parameters is a function and no value. Fill the pattern in with `like`, or call the function.",
        fires "ring seal(hub) {\n    bore = hub + 0.005 in\n    runs_on = hub\n}\nlet a = seal.clearance\n", silent "ring seal(hub) {\n    bore = hub + 0.005 in\n    runs_on = hub\n}\nring intake like seal(hub = 5.497 in) { }\nlet a = intake.clearance\n";
    UNUSED_PARAMETER = "CW0223" "unused-parameter" Advice, "A parameter that is never used.",
        "Whoever fills it in expects it to count. Use it, or take it out.",
        fires "let gap(bore, hub) = bore / 2\n", silent "let gap(bore, hub) = (bore - hub) / 2\n";
    HIDES_NAME = "CW0224" "hides-name" Advice, "A name that hides another.",
        "A parameter goes before a field, and before a declaration of the file, of the same name; a function of one's own goes before the built-in one. That may be what is meant, but whoever reads it may take one for the other.",
        fires "let hub = 5.497 in\nlet gap(bore, hub) = (bore - hub) / 2\n", silent "let wheel = 5.497 in\nlet gap(bore, hub) = (bore - hub) / 2\n";
    ELEMENT = "CW0225" "list-element" Error, "A list has no such element.",
        "Elements of a list and rows of a table are counted from 1, by whole numbers.",
        fires "let all = [2 in, 3 in]\nlet a = all[3]\n", silent "let all = [2 in, 3 in]\nlet a = all[2]\n";
    OTHER_CHOICE = "CW0226" "other-choice" Error, "A field that does not go with the choice made.",
        "Some fields belong to one form alone: a smooth bore has a tip, a fog has a rated flow. Take the field out, or choose the form it belongs to. Where such a field is inherited by a declaration of another form, it is left out.",
        fires "nozzle n {\n    form = fog\n    rated = 150 gpm at 100 psi\n    tip = 1 in\n}\n", silent "nozzle n {\n    form = smooth\n    tip = 1 in\n}\n";
    SAME_AS_INHERITED = "CW0227" "same-as-inherited" Advice, "A field says again what it inherits.",
        "The value is the one that comes by `like` anyhow. Without the line a change of the original is followed here; keep it only where the two are to part on purpose.",
        fires "impeller a {\n    outside_diameter = 9 in\n}\nimpeller b like a { outside_diameter = 9 in }\n", silent "impeller a {\n    outside_diameter = 9 in\n}\nimpeller b like a { outside_diameter = 8.5 in }\n";

    UNKNOWN_UNIT = "CW0301" "unknown-unit" Error, "No such unit.",
        "Unit names are looked up in one table; `cutwater explain units` lists them. A compound unit is written without blanks: `oz*in`, `ft/s`.",
        fires "let x = 3 inn\n", silent "let x = 3 in\n", fixes Safe | NeedsALook;
    UNIT_MISSING = "CW0302" "unit-missing" Error, "A number needs a unit.",
        "A bare number is a count or a ratio. Nothing is silently taken for psi or inches.",
        fires "site { altitude = 820 }\n", silent "site { altitude = 820 ft }\n", fixes NeedsALook;
    WRONG_UNIT = "CW0303" "wrong-dimension" Error, "A value of the wrong dimension.",
        "The field, column or tolerance is of another dimension than the value.",
        fires "site { altitude = 820 psi }\n", silent "site { altitude = 820 ft }\n", fixes Safe | NeedsALook;
    WRONG_KIND = "CW0304" "wrong-kind" Error, "Quantities that do not go together.",
        "Gauge and absolute pressure, vacuum, temperature points and differences, torque and energy, head and length are different kinds, even where their dimension is the same. Points cannot be added; their differences can.",
        fires "let a = 60 degF + 10 degF\n", silent "let a = 60 degF + 10 delta_degF\n", fixes NeedsALook;
    MIXED_GALLONS = "CW0305" "mixed-gallons" Error, "US and imperial gallons in one place.",
        "An imperial gallon is 1.20095 US gallons; a 20 % error is the usual price of mixing them. Write both in one of them.",
        fires "let a = 500 gpm + 100 igpm\n", silent "let a = 500 gpm + 100 gpm\n", fixes NeedsALook;
    WRONG_TYPE = "CW0306" "wrong-type" Error, "Another sort of value is wanted here.",
        "Some fields take a name, a text, a date, a list, or a value with `at`.",
        fires "site { altitude = \"high\" }\n", silent "site { altitude = 820 ft }\n", fixes NeedsALook;
    UNKNOWN_WORD = "CW0307" "unknown-word" Error, "Not one of the words this field takes.",
        "The field takes one of a few words.",
        fires "ring r {\n    form = plane\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\n", silent "ring r {\n    form = plain\n    bore = 5.502 in\n    runs_on = 5.497 in\n}\n", fixes Safe | NeedsALook;

    OUT_OF_RANGE = "CW0401" "out-of-range" Error, "A value outside what makes sense.",
        "A length, flow or count that cannot be.",
        fires "hose h {\n    diameter = -2.5 in\n    loss = 2 psi per 100 ft at 100 gpm\n}\n", silent "hose h {\n    diameter = 2.5 in\n    loss = 2 psi per 100 ft at 100 gpm\n}\n", fixes NeedsALook;
    BAD_TOLERANCE = "CW0402" "bad-tolerance" Error, "A tolerance that cannot be.",
        "The upper deviation is written first, `(+0.002/-0.001)`; a tolerance after `±` is above zero; and a size must stay above zero over its whole tolerance.",
        fires "let a = 5 in (-0.001/+0.002)\n", silent "let a = 5 in (+0.002/-0.001)\n", fixes Safe | NeedsALook;
    BAD_RANGE = "CW0403" "bad-range" Error, "A range whose ends are the wrong way round.",
        "Write the smaller value first.",
        fires "let a = 0.007 .. 0.003 in\n", silent "let a = 0.003 .. 0.007 in\n", fixes NeedsALook;
    BAD_DATE = "CW0404" "bad-date" Error, "No such day.",
        "Dates are written year-month-day.",
        fires "let d = 2026-02-30\n", silent "let d = 2026-02-28\n", fixes NeedsALook;
    TABLE_SHAPE = "CW0405" "table-shape" Error, "A table whose columns or rows do not fit.",
        "Each row has one cell for each column of the head; `-` where there is no value.",
        fires "drive d {\n    turns = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        1200 190\n        1600\n    }\n}\npump p { rating = 500 gpm at 150 psi }\n",
        silent "drive d {\n    turns = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        1200 190\n        1600 262\n    }\n}\npump p { rating = 500 gpm at 150 psi }\n", fixes NeedsALook;
    NOT_RISING = "CW0406" "not-rising" Error, "Rows of a table out of order.",
        "The first column must rise from row to row.",
        fires "drive d {\n    turns = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        1600 262\n        1200 190\n    }\n}\npump p { rating = 500 gpm at 150 psi }\n",
        silent "drive d {\n    turns = p\n    gear_ratio = 2.0\n    output (speed rpm, power hp) {\n        1200 190\n        1600 262\n    }\n}\npump p { rating = 500 gpm at 150 psi }\n", fixes NeedsALook;
    NOT_COMPUTABLE = "CW0407" "not-computable" Error, "A value that cannot be computed.",
        "A division by what may be zero, a root of a negative number, a number beyond all sense.",
        fires "let a = 1 in / 0\n", silent "let a = 1 in / 2\n";
    NOT_GIVEN = "CW0408" "not-given" Error, "A value is used that was not given.",
        "The field is optional and empty, so nothing can be computed from it.",
        fires "impeller i { outside_diameter = 9 in }\nlet a = i.mass * 2\n", silent "impeller i {\n    outside_diameter = 9 in\n    mass = 17 lb\n}\nlet a = i.mass * 2\n";
    UNKNOWN_CLASS = "CW0409" "unknown-class" Error, "No such tolerance class.",
        "A tolerance class of ISO 286 is a letter or two and a grade: capital letters for holes (`45 mm H7`), small ones for shafts (`45 mm g6`). The grades are 01, 0 and 1 to 18; holes K to ZC have them from 3, J has 6 to 8, j has 5 to 8.",
        fires "let bore = 45 mm H77\n", silent "let bore = 45 mm H7\n", fixes NeedsALook;
    CLASS_NOT_FOR_SIZE = "CW0410" "class-not-for-size" Error, "A tolerance class that is not defined for this size.",
        "ISO 286 gives the limits for lengths above 0 up to 500 mm. Some classes begin or end within that: `t` above 24 mm, `v` above 14 mm, `y` above 18 mm, `cd`, `ef` and `fg` up to 50 mm, grades 14 to 18 above 1 mm. A size in inches is taken in millimetres. For other sizes write limits of your own.",
        fires "let pin = 20 mm t6\n", silent "let pin = 20 mm s6\n";

    REQUIRE_FAILS = "CW0501" "requirement-not-met" Error, "A `require` line does not hold.",
        "The spec's own rule is broken. The message shows both sides.",
        fires "let a = 2 in\nrequire a >= 3 in because \"it must fit\"\n", silent "let a = 4 in\nrequire a >= 3 in because \"it must fit\"\n";
    REQUIRE_TIGHT = "CW0502" "requirement-within-tolerance" Warning, "A `require` line holds nominally, but not in the worst case.",
        "The nominal value keeps the rule, and so does the range in which most parts lie (root-sum-square), but parts that are all at the wrong end of their tolerances do not. Where a single tolerance bears on the value, both ranges are one. The labels show what each tolerance contributes, the help by how much they would have to shrink. Where the parts vary independently and the odd one that breaks the rule can be found and set aside, this may be accepted with a reason.",
        fires "let a = 3.001 in ± 0.002\nrequire a >= 3 in\n", silent "let a = 3.003 in ± 0.002\nrequire a >= 3 in\n";
    REQUIRE_UNLIKELY = "CW0503" "requirement-within-spread" Warning, "A `require` line holds nominally, but not by root-sum-square.",
        "The nominal value keeps the rule, but the range in which most parts lie (root-sum-square of the tolerances about the middle of their limits) does not, and so neither does the worst case. Some of the parts made to these tolerances will break the rule. The help says how far the tolerances would have to shrink; moving the nominal value towards the middle of the range is often cheaper.",
        fires "let bore = 5.502 in ± 0.002\nlet hub = 5.497 in ± 0.001\nrequire bore - hub >= 0.003 in\n", silent "let bore = 5.502 in ± 0.002\nlet hub = 5.497 in ± 0.001\nrequire bore - hub >= 0.0025 in\n";
}

/// Every finding there is, by id.
pub fn all() -> Vec<&'static Code> {
    let mut out: Vec<&'static Code> = CODES.to_vec();
    out.extend(crate::settings::CODES);
    out.extend(crate::accept::CODES);
    out.extend(crate::baseline::CODES);
    for list in crate::kinds::CODES {
        out.extend(*list);
    }
    out.sort_by_key(|c| c.id);
    out
}

/// Whether a finding says that a duty has no solution: the command line's exit code 3.
pub fn is_unsolved(code: &Code) -> bool {
    code == &crate::kinds::duty::DUTY_UNMET || code == &crate::kinds::duty::DUTY_NOT_CONVERGED
}

/// Whether a spec may accept a finding: a judgement, such as a limit that is not kept. What makes a text or its
/// numbers meaningless may not be accepted: mistakes of the language, sizes that cannot be, laws and lays that are
/// incomplete, tables that do not match, a duty without a solution; nor may what is said of acceptances and settings themselves.
pub fn may_be_accepted(code: &Code) -> bool {
    use crate::kinds::{duty, every, lay, line, pump, rotor, service, supply, surroundings};
    let own = [
        CODES,
        crate::settings::CODES,
        crate::accept::CODES,
        crate::baseline::CODES,
    ];
    let judgement = [
        &REQUIRE_FAILS,
        &REQUIRE_TIGHT,
        &REQUIRE_UNLIKELY,
        &UNUSED_USE,
        &UNUSED_PARAMETER,
        &HIDES_NAME,
        &SAME_AS_INHERITED,
    ];
    let meaningless = [
        &every::RULES_MISSING,
        &duty::DUTY_FORM,
        &duty::DUTY_HOLD,
        &lay::LAY_STATION,
        &lay::LAY_LOOSE,
        &lay::LAY_HEIGHT,
        &line::HOSE_LAW,
        &line::NOZZLE_LAW,
        &line::APPLIANCE_LAW,
        &pump::checks::EFFICIENCY,
        &pump::checks::POWER_ZERO,
        &pump::checks::STAGES_JOIN,
        &supply::SUPPLY_FORM,
        &supply::HYDRANT_TEST,
        &surroundings::WATER_RANGE,
        &surroundings::SITE_RANGE,
        &rotor::EYE_SIZE,
        &rotor::EXIT_BLOCKED,
        &rotor::RING_THICKNESS,
        &service::POINTS,
        &service::BEFORE,
        &service::PROCEDURE_POINTS,
    ];
    judgement.contains(&code)
        || !is_unsolved(code)
            && !meaningless.contains(&code)
            && !own.iter().any(|list| list.contains(&code))
}

/// A finding by its id or name.
pub fn find(key: &str) -> Option<&'static Code> {
    all()
        .into_iter()
        .find(|c| c.id.eq_ignore_ascii_case(key) || c.name == key)
}
