//! The cheapest matching of rows to columns: Kuhn's Hungarian method.

/// A cheapest matching.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Matching {
    /// The column of each row.
    pub(super) columns: Vec<usize>,
    pub(super) cost: i64,
    /// What each row pays at the prices that keep all content: the dual variables of the rows.
    pub(super) rows: Vec<i64>,
}

/// The cheapest way to give each of `rows` rows a column of its own (at least as many columns as rows),
/// with potentials, O(rows² · columns). `costs` holds the columns.
pub(super) fn solve(costs: &[&[i64]], rows: usize) -> Matching {
    const FAR: i64 = i64::MAX / 4;
    let columns = costs.len();
    // Row and column 0 are auxiliary, as in the method's usual statement.
    let mut u = vec![0i64; rows + 1];
    let mut v = vec![0i64; columns + 1];
    let mut row_of = vec![0usize; columns + 1];
    let mut way = vec![0usize; columns + 1];
    let mut least = vec![FAR; columns + 1];
    let mut used = vec![false; columns + 1];
    for row in 1..=rows {
        row_of[0] = row;
        let mut column = 0;
        least.fill(FAR);
        used.fill(false);
        loop {
            used[column] = true;
            let here = row_of[column];
            let mut delta = FAR;
            let mut next = 0;
            for j in 1..=columns {
                if used[j] {
                    continue;
                }
                let reduced = costs[j - 1][here - 1] - u[here] - v[j];
                if reduced < least[j] {
                    least[j] = reduced;
                    way[j] = column;
                }
                if least[j] < delta {
                    delta = least[j];
                    next = j;
                }
            }
            for j in 0..=columns {
                if used[j] {
                    u[row_of[j]] += delta;
                    v[j] -= delta;
                } else {
                    least[j] -= delta;
                }
            }
            column = next;
            if row_of[column] == 0 {
                break;
            }
        }
        while column != 0 {
            row_of[column] = row_of[way[column]];
            column = way[column];
        }
    }
    let mut taken = vec![0; rows];
    for (column, row) in row_of.iter().enumerate().skip(1) {
        if *row > 0 {
            taken[*row - 1] = column - 1;
        }
    }
    let cost = taken.iter().enumerate().map(|(row, column)| costs[*column][row]).sum();
    u.remove(0);
    Matching { columns: taken, cost, rows: u }
}

/// What any matching costs at the least, from what each row pays (linear programming duality): a column
/// that a row could have for less gives back no more than the greatest such difference.
pub(super) fn at_least(costs: &[&[i64]], rows: &[i64]) -> i64 {
    let gives_back = |column: &&[i64]| {
        column.iter().zip(rows).map(|(cost, pays)| cost - pays).min().unwrap_or(0).min(0)
    };
    rows.iter().sum::<i64>() + costs.iter().map(gives_back).sum::<i64>()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_worked_example() {
        // Kuhn 1955's setting: three workers, three jobs; the best is 1 + 2 + 2 by hand.
        let found = solve(&[&[1, 5, 3], &[4, 7, 2], &[5, 2, 9]], 3);
        assert_eq!((found.columns, found.cost), (vec![0, 2, 1], 5));
    }

    /// The cheapest of all matchings, row by row.
    fn brute(costs: &[&[i64]], row: usize, taken: &mut [bool]) -> i64 {
        if costs.first().is_none_or(|c| row == c.len()) {
            return 0;
        }
        let mut best = i64::MAX / 2;
        for (j, column) in costs.iter().enumerate() {
            if !taken[j] {
                taken[j] = true;
                best = best.min(column[row] + brute(costs, row + 1, taken));
                taken[j] = false;
            }
        }
        best
    }

    fn table() -> impl Strategy<Value = Vec<Vec<i64>>> {
        (1usize..5, 0usize..3).prop_flat_map(|(rows, more)| {
            prop::collection::vec(prop::collection::vec(-50i64..50, rows), rows + more)
        })
    }

    proptest! {
        #[test]
        fn the_matching_is_the_cheapest_and_bounds_every_other(
            own in table(), seed in prop::collection::vec(-50i64..50, 4),
        ) {
            let costs: Vec<&[i64]> = own.iter().map(Vec::as_slice).collect();
            let found = solve(&costs, costs[0].len());
            prop_assert_eq!(found.cost, brute(&costs, 0, &mut vec![false; costs.len()]));
            // For its own costs the bound is tight; for others it holds.
            prop_assert_eq!(at_least(&costs, &found.rows), found.cost);
            let mut other = own.clone();
            other[0] = seed[..own[0].len()].to_vec();
            let costs: Vec<&[i64]> = other.iter().map(Vec::as_slice).collect();
            let cheapest = brute(&costs, 0, &mut vec![false; costs.len()]);
            prop_assert!(at_least(&costs, &found.rows) <= cheapest);
        }
    }
}
