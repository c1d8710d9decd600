"""`stagefx bench`: what meter, scope and recorder say of a real stage."""
