//! Conversion of whole numbers to smaller types.

/// Number in a smaller type; a number that does not fit becomes the greatest of the type.
///
/// For counts, rows and sums that the readers bound far below it, or that only mean "more than anything": a limit
/// that is never reached may be the greatest number, a result may not. A result that can really overflow is refused
/// instead.
pub(crate) fn narrow<T: Whole>(number: impl TryInto<T>) -> T {
    number.try_into().unwrap_or(T::GREATEST)
}

/// Type of a whole number.
pub(crate) trait Whole {
    /// Greatest number that it holds.
    const GREATEST: Self;
}

macro_rules! whole {
    ($($number:ty),*) => {
        $(impl Whole for $number {
            const GREATEST: $number = <$number>::MAX;
        })*
    };
}

whole!(u32, u64, usize, i16, i64);

#[cfg(test)]
mod tests {
    use super::narrow;

    #[test]
    fn what_does_not_fit_is_the_greatest() {
        assert_eq!(narrow::<u32>(7_usize), 7);
        assert_eq!(narrow::<u32>(1_u64 << 40), u32::MAX);
        assert_eq!(narrow::<i64>(i128::MIN), i64::MAX);
    }
}
