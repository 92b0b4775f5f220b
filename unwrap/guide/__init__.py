"""Proof, strain pictures, guide, report."""
