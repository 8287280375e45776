"""The handout: what a student is given to practise an etude from."""
