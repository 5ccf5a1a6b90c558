"""Graded questions: offer(item, seed) -> question, grade(question, answer) -> grade, both pure; widgets are apart."""
