//! Sample sizes against plain enumeration, and the drawn sample against its specification.

use liftledger::keeping::sampling::{
    Confidence, MAX_POPULATION, SamplingError, chance_of_none, draw, is_seed, size,
};

fn c(text: &str) -> Confidence {
    text.parse().unwrap()
}

/// C(n, k) in whole numbers; small enough for the populations tried here.
fn choose(n: u128, k: u128) -> u128 {
    (0..k).fold(1, |sum, i| sum * (n - i) / (i + 1))
}

#[test]
fn the_size_is_the_one_that_counting_all_samples_gives() {
    // P(n) = C(N-M, n) / C(N, n), told in whole numbers; the confidence in thousandths.
    for population in 1..=24_u32 {
        for missing in 1..=population {
            for thousandths in [1_u128, 500, 900, 950, 990, 999, 1000] {
                let enough = |n: u32| {
                    let (all, n) = (u128::from(population), u128::from(n));
                    let good = u128::from(population - missing);
                    let none = if n > good { 0 } else { choose(good, n) };
                    none * 1000 <= (1000 - thousandths) * choose(all, n)
                };
                let expected = (1..=population).find(|n| enough(*n)).unwrap();
                let confidence = c(&format!("{}.{:03}", thousandths / 1000, thousandths % 1000));
                assert_eq!(
                    size(population, missing, confidence),
                    Ok(expected),
                    "{population} {missing} {thousandths}"
                );
            }
        }
    }
}

#[test]
fn exact_ties_and_great_populations_are_answered() {
    // One of 20 missing: a sample of 19 shows it with probability 0.95 exactly, and that is enough.
    assert_eq!(size(20, 1, c("0.95")), Ok(19));
    assert_eq!(size(20, 1, c("0.950000000001")), Ok(20));
    assert_eq!(size(MAX_POPULATION, 1, c("95%")), Ok(9_500_000));
    assert_eq!(
        size(MAX_POPULATION, 1, c("0.999999999999")),
        Ok(MAX_POPULATION)
    );
    assert_eq!(
        size(MAX_POPULATION, MAX_POPULATION, c("0.999999999999")),
        Ok(1)
    );
    assert_eq!(size(MAX_POPULATION, 1000, c("1")), Ok(9_999_001));
    // Near the worst case of the work: the sample and the missing are of like size.
    let n = size(MAX_POPULATION, 16_000, c("0.999999999999")).unwrap();
    assert!(chance_of_none(MAX_POPULATION, 16_000, n) <= 1.000_001e-12);
    assert!(chance_of_none(MAX_POPULATION, 16_000, n - 1) > 1e-12);
    assert_eq!(size(0, 1, c("0.9")), Err(SamplingError::Population));
    assert_eq!(
        size(MAX_POPULATION + 1, 1, c("0.9")),
        Err(SamplingError::Population)
    );
    assert_eq!(size(5, 6, c("0.9")), Err(SamplingError::Missing));
    assert_eq!(size(5, 0, c("0.9")), Err(SamplingError::Missing));
}

#[test]
fn a_confidence_is_a_decimal() {
    for (text, shown) in [
        ("0.95", "0.95"),
        ("95%", "0.95"),
        ("99.9 %", "0.999"),
        ("1", "1"),
        ("100%", "1"),
        ("0.000000000001", "0.000000000001"),
    ] {
        assert_eq!(c(text).to_string(), shown, "{text}");
    }
    for text in [
        "",
        "0",
        "0%",
        "1.000000000001",
        "101%",
        "-0.5",
        ".5",
        "0.9999999999999",
        "nan",
        "1e-3",
        "0.5.5",
        "0,95",
    ] {
        assert_eq!(
            text.parse::<Confidence>(),
            Err(SamplingError::Confidence),
            "{text}"
        );
    }
}

#[test]
fn a_sample_is_drawn_again_from_its_seed() {
    // Computed once with a few lines of Python from SAMPLING.md (hashlib); the outside checks do so for many.
    assert_eq!(draw(1000, 5, "boatyard").unwrap(), BOATYARD);
    for (population, sample) in [(1, 1), (7, 7), (400, 59), (MAX_POPULATION, 1000)] {
        let drawn = draw(population, sample, "a").unwrap();
        assert_eq!(drawn.len(), sample as usize);
        assert!(drawn.windows(2).all(|w| w[0] < w[1]) && drawn.iter().all(|x| *x < population));
        assert_eq!(drawn, draw(population, sample, "a").unwrap());
        if sample < population {
            assert_ne!(drawn, draw(population, sample, "b").unwrap());
        }
    }
    assert_eq!(draw(10, 11, "a"), Err(SamplingError::Sample));
    assert_eq!(draw(10, 0, "a"), Err(SamplingError::Sample));
    assert_eq!(
        draw(MAX_POPULATION, 100_001, "a"),
        Err(SamplingError::Sample)
    );
    for seed in ["", "two words", "å", &"x".repeat(65)] {
        assert_eq!(draw(10, 1, seed), Err(SamplingError::Seed));
        assert!(!is_seed(seed));
    }
}

#[test]
fn no_thing_is_drawn_more_often_than_another() {
    // 6,000 samples of 5 from 20: each thing is expected 1,500 times. Chi-square with 19 degrees of freedom lies below
    // 43.8 in 999 of 1,000 cases (table of the distribution, from memory); the seeds are fixed, so the answer is too.
    let mut seen = [0_u32; 20];
    for i in 0..6_000 {
        for at in draw(20, 5, &format!("seed-{i}")).unwrap() {
            seen[at as usize] += 1;
        }
    }
    let chi: f64 = seen
        .iter()
        .map(|n| (f64::from(*n) - 1500.0).powi(2) / 1500.0)
        .sum();
    assert!(chi < 43.8, "{chi} {seen:?}");
}

const BOATYARD: [u32; 5] = [0, 44, 350, 485, 743];
