"""The devices of a station: what they are made of, their condition at a moment, and the flows through them."""
