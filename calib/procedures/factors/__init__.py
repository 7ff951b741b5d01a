"""Outlet factors found in the field, and methods compared with traverses."""
