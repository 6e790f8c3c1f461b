//! Dishes that would be part of themselves.

use std::collections::{BTreeMap, BTreeSet};

use trug_provision::kitchen::DishId;

/// Which dishes a dish uses, each with the line that says so.
pub(crate) type Uses = BTreeMap<DishId, Vec<(DishId, u32)>>;

/// A circle: the dishes in the order in which one uses the next, the first again at the end; and the line of the first
/// that closes it.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Circle {
    pub dishes: Vec<DishId>,
    pub line: u32,
}

/// The circles, each told once, from the dish whose id comes first.
pub(crate) fn circles(uses: &Uses) -> Vec<Circle> {
    let mut told: BTreeSet<DishId> = BTreeSet::new();
    let mut circles = Vec::new();
    for start in uses.keys() {
        if told.contains(start) {
            continue;
        }
        if let Some(circle) = shortest_back_to(start, uses) {
            told.extend(circle.dishes.iter().cloned());
            circles.push(circle);
        }
    }
    circles
}

/// The shortest way from a dish back to itself, by breadth.
fn shortest_back_to(start: &DishId, uses: &Uses) -> Option<Circle> {
    let mut came_from: BTreeMap<&DishId, &DishId> = BTreeMap::new();
    let mut front = vec![start];
    while !front.is_empty() {
        let mut next = Vec::new();
        for dish in front {
            for (used, _) in uses.get(dish).into_iter().flatten() {
                if used == start {
                    return Some(circle(start, dish, &came_from, uses));
                }
                if !came_from.contains_key(used) {
                    came_from.insert(used, dish);
                    next.push(used);
                }
            }
        }
        front = next;
    }
    None
}

fn circle(start: &DishId, last: &DishId, came_from: &BTreeMap<&DishId, &DishId>, uses: &Uses) -> Circle {
    let mut dishes = vec![start.clone()];
    let mut at = last;
    while at != start {
        dishes.push(at.clone());
        match came_from.get(at) {
            Some(before) => at = before,
            None => break,
        }
    }
    dishes.push(start.clone());
    dishes.reverse();
    let second = dishes.get(1);
    let first_lines = uses.get(start).into_iter().flatten();
    let line = first_lines.filter(|(used, _)| Some(used) == second).map(|(_, line)| *line).next().unwrap_or(1);
    Circle { dishes, line }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn uses(pairs: &[(&str, &str, u32)]) -> Uses {
        let mut uses = Uses::new();
        for (dish, used, line) in pairs {
            uses.entry(DishId::new(dish)).or_default().push((DishId::new(used), *line));
        }
        uses
    }

    fn told(pairs: &[(&str, &str, u32)]) -> Vec<(String, u32)> {
        let name =
            |circle: Circle| (circle.dishes.iter().map(DishId::as_str).collect::<Vec<_>>().join(" "), circle.line);
        circles(&uses(pairs)).into_iter().map(name).collect()
    }

    #[test]
    fn finds_each_circle_once() {
        let circle = |text: &str, line| (text.to_owned(), line);
        for (pairs, want) in [
            (vec![("a", "b", 7), ("b", "c", 8)], vec![]),
            (vec![("a", "a", 7)], vec![circle("a a", 7)]),
            (vec![("b", "a", 3), ("a", "b", 7)], vec![circle("a b a", 7)]),
            (vec![("a", "b", 1), ("b", "c", 2), ("c", "b", 3)], vec![circle("b c b", 2)]),
            (
                vec![("a", "b", 1), ("b", "c", 2), ("c", "a", 3), ("d", "d", 9)],
                vec![circle("a b c a", 1), circle("d d", 9)],
            ),
        ] {
            assert_eq!(told(&pairs), want, "{pairs:?}");
        }
    }
}
