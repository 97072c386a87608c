//! What runs all day beside the dryer.
