//! What becomes of a value that a record may do without: it stays, it is cleared, or it becomes another.

use async_graphql::MaybeUndefined;
use sea_orm::ActiveValue;

/// What becomes of one value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Change<T> {
    /// It stays.
    #[default]
    Keep,
    /// It is taken away.
    Clear,
    /// It becomes this.
    To(T),
}

impl<T> Change<T> {
    /// The same change of another value.
    pub fn map<U>(self, of: impl FnOnce(T) -> U) -> Change<U> {
        match self {
            Self::Keep => Change::Keep,
            Self::Clear => Change::Clear,
            Self::To(value) => Change::To(of(value)),
        }
    }

    /// The value with this change.
    pub fn over(self, before: Option<T>) -> Option<T> {
        match self {
            Self::Keep => before,
            Self::Clear => None,
            Self::To(new) => Some(new),
        }
    }

    /// Carries the change out on a value.
    pub fn apply(self, value: &mut Option<T>) {
        *value = self.over(value.take());
    }
}

impl<T> Change<T>
where
    Option<T>: Into<sea_orm::Value>,
{
    /// Carries the change out on a column.
    pub fn set(self, column: &mut ActiveValue<Option<T>>) {
        match self {
            Self::Keep => {}
            Self::Clear => *column = ActiveValue::Set(None),
            Self::To(new) => *column = ActiveValue::Set(Some(new)),
        }
    }
}

impl<T, E> Change<std::result::Result<T, E>> {
    /// The change, if its value was understood.
    ///
    /// # Errors
    /// The value's own.
    pub fn transpose(self) -> std::result::Result<Change<T>, E> {
        Ok(match self {
            Self::Keep => Change::Keep,
            Self::Clear => Change::Clear,
            Self::To(value) => Change::To(value?),
        })
    }
}

impl<T> From<MaybeUndefined<T>> for Change<T> {
    fn from(value: MaybeUndefined<T>) -> Self {
        match value {
            MaybeUndefined::Undefined => Self::Keep,
            MaybeUndefined::Null => Self::Clear,
            MaybeUndefined::Value(value) => Self::To(value),
        }
    }
}
