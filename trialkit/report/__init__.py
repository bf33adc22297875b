"""What a notebook cell calls: one method, one table or picture."""
