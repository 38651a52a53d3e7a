//! Recipes as written, read and written again.

use proptest::prelude::*;

use super::recipe::{Amount, Burst, Change, Grade, Recipe, Throw, Tone, Way};
use crate::measure::exposure::Aperture;
use crate::measure::units::Seconds;

fn error(text: &str) -> String {
    Recipe::read(text).unwrap_err().to_string()
}

#[test]
fn a_recipe_is_read_as_a_printer_writes_it() {
    let recipe = Recipe::read(
        "12s at f/8, magnified 4x, lens 80mm, grade 2 1/2 factor 1.6, tones 0.05 to 1.6\n\
         burn in sky by 1 1/2 stops in the highlights\n\
         burn left quay: +10s at grade 00 factor 2\n\
         dodge boat 3s, to 0.9; dodge nets third of a stop",
    )
    .unwrap();
    let grade = Grade {
        name: Some("2 1/2".into()),
        factor: Some(1.6),
    };
    assert_eq!(
        recipe.base,
        [Burst {
            time: Seconds(12.0),
            grade
        }]
    );
    assert_eq!(recipe.aperture.engraved, Some(8.0));
    assert_eq!(recipe.throw, Throw::Magnified(4.0));
    assert_eq!(recipe.focal_length, Some(80.0));
    assert_eq!(recipe.tones, Some((0.05, 1.6)));
    let told: Vec<(Way, &str, Amount, Option<Tone>)> = recipe
        .changes
        .iter()
        .map(|change| (change.way, &*change.name, change.amount, change.tone))
        .collect();
    assert_eq!(
        told,
        [
            (Way::Burn, "sky", Amount::Stops(1.5), Some(Tone::Highlights)),
            (Way::Burn, "left quay", Amount::Time(Seconds(10.0)), None),
            (
                Way::Dodge,
                "boat",
                Amount::Time(Seconds(3.0)),
                Some(Tone::Net(0.9))
            ),
            (Way::Dodge, "nets", Amount::Stops(1.0 / 3.0), None),
        ]
    );
    assert_eq!(
        recipe.changes[1].grade,
        Some(Grade {
            name: Some("00".into()),
            factor: Some(2.0)
        })
    );
}

#[test]
fn a_split_exposure_has_a_burst_for_each_grade() {
    let recipe =
        Recipe::read("8s grade 00 + 6s at grade 5 factor 2 at f/11, head 56cm, lens 80mm").unwrap();
    assert_eq!(recipe.base.len(), 2);
    assert_eq!(recipe.base[1].grade.name.as_deref(), Some("5"));
    assert_eq!(recipe.base[1].grade.factor, Some(2.0));
    assert_eq!(recipe.throw, Throw::Head(560.0));
}

#[test]
fn minutes_and_a_numbered_part_are_understood() {
    let recipe = Recipe::read("1m20s at f/16\nburn boat 2: 1:20").unwrap();
    assert_eq!(recipe.base[0].time, Seconds(80.0));
    assert_eq!(recipe.changes[0].name, "boat 2");
    assert_eq!(recipe.changes[0].amount, Amount::Time(Seconds(80.0)));
    // Found by the property below: before a colon a name may begin with any word.
    let recipe = Recipe::read("10s at f/16\nburn in front: 4s").unwrap();
    assert_eq!(recipe.changes[0].name, "in front");
}

#[test]
fn an_error_names_the_line_and_the_word_that_was_meant() {
    assert_eq!(
        error("10s at f/8, magnifed 4x"),
        "line 1 of the recipe: `magnifed` is not known here; did you mean `magnified`?"
    );
    assert_eq!(
        error("10s at f/8\n\nbrun sky: 1 stop"),
        "line 3 of the recipe: `brun` is not known here; did you mean `burn`?"
    );
    assert_eq!(
        error("10s at f/8\nburn sky: 1 stop in the highlihts"),
        "line 2 of the recipe: `highlihts` is not known here; did you mean `highlights`?"
    );
    for (text, part) in [
        ("", "nothing is written where the base exposure"),
        ("10s", "`at` and the aperture"),
        ("f/8", "a time"),
        ("10s at f/0", "f/0 is not an f-number"),
        ("10s at f/8, head 56", "head 56cm"),
        ("10s at f/8, head 56cm", "add `lens 80mm`"),
        (
            "10s at f/8, lens 80mm, head 20cm",
            "four focal lengths, 320 mm",
        ),
        ("10s at f/8, tones 1.6 to 0.05", "from light to dark"),
        ("10s at f/8, grade 2 factor 0", "factor 0"),
        ("10s at f/8;burn 1 stop", "what is to be burned?"),
        ("10s at f/8;burn sky: 5", "an amount"),
        ("10s at f/8;burn sky", "an amount"),
        ("10s at f/8;dodge boat: 10s", "leave nothing"),
        ("10s at f/8;burn sky: -1 stop", "`burn` adds light"),
        ("10,5s at f/8", "comma between digits"),
    ] {
        let said = error(text);
        assert!(said.contains(part), "{text}: {said}");
    }
}

fn some_grade() -> impl Strategy<Value = Grade> {
    let name = prop::option::of(prop::sample::select(vec!["00", "0", "2", "3 1/2", "5"]));
    (name, prop::option::of(0.1..20.0f64)).prop_map(|(name, factor)| Grade {
        name: name.map(str::to_owned),
        factor,
    })
}

fn some_change() -> impl Strategy<Value = Change> {
    let amount = prop_oneof![
        (0.01..8.0f64).prop_map(Amount::Stops),
        (1u8..24).prop_map(|sixths| Amount::Stops(f64::from(sixths) / 6.0)),
        (0.1..900.0f64).prop_map(|time| Amount::Time(Seconds(time))),
    ];
    let tone = prop::option::of(prop_oneof![
        Just(Tone::Highlights),
        Just(Tone::Middle),
        Just(Tone::Shadows),
        (0.0..2.0f64).prop_map(Tone::Net),
    ]);
    let burn = prop::bool::ANY;
    let grade = prop::option::of(some_grade().prop_filter("said", |grade| !grade.is_white()));
    ("[a-z]{1,8}( [a-z0-9]{1,6}){0,2}", burn, amount, grade, tone).prop_map(
        |(name, burn, amount, grade, tone)| Change {
            // A dodge in seconds may leave nothing; that is another test's.
            way: if burn || matches!(amount, Amount::Time(_)) {
                Way::Burn
            } else {
                Way::Dodge
            },
            name,
            amount,
            grade,
            tone,
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_reads_back_as_the_same_recipe(
        base in prop::collection::vec((0.1..2000.0f64, some_grade()), 1..4),
        f in prop::sample::select(vec![2.8, 4.0, 5.6, 8.0, 11.0, 11.5]),
        m in prop::option::of(0.5..20.0f64),
        lens in prop::option::of(40.0..200.0f64),
        tones in prop::option::of((0.0..0.4f64, 0.5..2.0f64)),
        changes in prop::collection::vec(some_change(), 0..6),
    ) {
        let recipe = Recipe {
            base: base
                .into_iter()
                .map(|(time, grade)| Burst { time: Seconds(time), grade })
                .collect(),
            aperture: Aperture::engraved(f).unwrap(),
            throw: m.map_or(Throw::Unknown, Throw::Magnified),
            focal_length: lens,
            tones,
            changes,
        };
        let written = recipe.written();
        let read = Recipe::read(&written);
        prop_assert_eq!(read.as_ref(), Ok(&recipe), "{}", written);
    }

    #[test]
    fn whatever_is_read_is_written_so_that_it_reads_back(
        text in "\\PC{0,60}",
        likely in "[a-z0-9:,+. /]{0,8}[0-9]{1,2}(s| stop)[a-z0-9:,+. /]{0,8}",
    ) {
        for recipe in [
            text.clone(),
            format!("10s at f/8\nburn {text}"),
            format!("10s at f/8, {text}"),
            format!("10s at f/8\nburn {likely}"),
            format!("10s at f/8, grade {likely}"),
        ] {
            if let Ok(read) = Recipe::read(&recipe) {
                let written = read.written();
                let again = Recipe::read(&written);
                prop_assert_eq!(again.as_ref(), Ok(&read), "{} became {}", recipe, written);
            }
        }
    }
}
