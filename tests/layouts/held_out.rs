//! Families that the program was not tuned on: `twinstrip simulate` has no word for them, and
//! nothing but the final tables is made of them.

use twinstrip::simulate::{Arrangement, Layout, Relief, Setting, Support, Surround};

/// The families with their names.
pub fn families() -> Vec<(String, Setting)> {
    let discs_on_wood = Setting {
        support: Support::Wood,
        turned: Some(15.0),
        grid: true,
        ..Layout::Discs.setting()
    };
    let rows_on_slate = Setting {
        support: Support::BlackSlate,
        relief: Relief::Thick,
        ..Layout::BackAndForth.setting()
    };
    let two_sides_masked = Setting {
        support: Support::Plaster,
        surround: Surround::Grey,
        marked: true,
        steps: Some((5, 14)),
        ..Setting::of(Arrangement::Side {
            margin: (4.0, 12.0),
            and_end: true,
        })
    };
    let pieces_beside_a_print = Setting {
        surround: Surround::Open,
        clutter: true,
        ..Layout::CutApart.setting()
    };
    [
        ("discs on wood, several coupons, turned", discs_on_wood),
        ("two rows back and forth on thick slate", rows_on_slate),
        (
            "one side and one end masked, plaster, grey, pencil",
            two_sides_masked,
        ),
        ("cut apart beside prints, lid open", pieces_beside_a_print),
    ]
    .map(|(name, setting)| (name.to_owned(), setting))
    .into()
}
