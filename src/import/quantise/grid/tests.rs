//! The searches against trying everything.

use proptest::prelude::*;

use super::*;

/// Every way to put strokes on points 0 to `parts`, none before the one before it; the cheapest cost.
fn line_by_force(
    model: &Model,
    window: &Window,
    places: &[f64],
    parts: u8,
    from: Option<usize>,
) -> f64 {
    let Some((place, rest)) = places.split_first() else { return 0.0 };
    (from.unwrap_or(0)..=usize::from(parts))
        .map(|point| {
            let collision = if from == Some(point) { COLLISION } else { 0.0 };
            collision
                + model.stroke_cost(window, *place, point, parts)
                + line_by_force(model, window, rest, parts, Some(point))
        })
        .fold(f64::INFINITY, f64::min)
}

fn window(number: usize, compound: bool, mut places: Vec<f64>) -> Window {
    places.sort_by(f64::total_cmp);
    let length = if compound { Time::new(3, 2) } else { Time::QUARTER };
    Window {
        start: length * number as i64,
        length,
        compound,
        ms: 500.0,
        strokes: places.into_iter().enumerate().map(|(i, p)| (0, i, p)).collect(),
    }
}

/// The cheapest total over every sequence of grids.
fn grids_by_force(
    windows: &[Window],
    model: &Model,
    at: usize,
    before: Option<(usize, u8)>,
) -> f64 {
    let Some(window) = windows.get(at) else { return 0.0 };
    let places: Vec<f64> = window.strokes.iter().map(|s| s.2).collect();
    let all = window.grids().iter().enumerate().map(|(g, grid)| {
        let change = before.is_some_and(|(w, parts)| {
            grid.parts != 1
                && parts != 1
                && is_odd_one(window, grid.parts) != is_odd_one(&windows[w], parts)
        });
        model.grid_cost(window, g)
            + line_by_force(model, window, &places, grid.parts, None)
            + if change { CHANGE } else { 0.0 }
            + grids_by_force(windows, model, at + 1, Some((at, grid.parts)))
    });
    all.fold(f64::INFINITY, f64::min)
}

/// The cheapest points for a part over all windows, tried one by one.
fn points_by_force(spots: &[Spot<'_>], model: &Model, at: usize, before: Option<f64>) -> f64 {
    let Some(spot) = spots.get(at) else { return 0.0 };
    (0..=usize::from(spot.parts))
        .filter(|p| before.is_none_or(|b| spot.at(*p) - b > -1e-6))
        .map(|p| {
            let collides = before.is_some_and(|b| spot.at(p) - b < 1e-6);
            model.stroke_cost(spot.window, spot.place, p, spot.parts)
                + if collides { COLLISION } else { 0.0 }
                + points_by_force(spots, model, at + 1, Some(spot.at(p)))
        })
        .fold(f64::INFINITY, f64::min)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn grids_are_the_cheapest(
        places in prop::collection::vec(prop::collection::vec(0.0f64..1.0, 1..4), 1..3),
        compound in any::<bool>(),
    ) {
        let windows: Vec<Window> =
            places.into_iter().enumerate().map(|(i, p)| window(i, compound, p)).collect();
        let model = Model::start();
        let (_, cost) = choose(&windows, &model);
        let force = grids_by_force(&windows, &model, 0, None);
        prop_assert!((cost - force).abs() < 1e-9, "{cost} {force}");
    }

    #[test]
    fn points_are_the_cheapest(
        places in prop::collection::vec((0.0f64..1.0, 0usize..6), 1..6),
    ) {
        let model = Model::start();
        let windows: Vec<Window> =
            places.iter().enumerate().map(|(i, p)| window(i, false, vec![p.0])).collect();
        let spots: Vec<Spot<'_>> = windows
            .iter()
            .zip(&places)
            .map(|(window, (place, grid))| Spot {
                window,
                parts: SIMPLE[*grid].parts,
                place: *place,
            })
            .collect();
        let chosen = points(&spots, &model);
        let mut before: Option<f64> = None;
        let mut cost = 0.0;
        for (spot, point) in spots.iter().zip(&chosen) {
            let collides = before.is_some_and(|b| spot.at(*point) - b < 1e-6);
            cost += model.stroke_cost(spot.window, spot.place, *point, spot.parts);
            cost += if collides { COLLISION } else { 0.0 };
            before = Some(spot.at(*point));
        }
        let force = points_by_force(&spots, &model, 0, None);
        prop_assert!((cost - force).abs() < 1e-9, "{cost} {force}");
    }
}
