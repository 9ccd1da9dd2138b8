"""After a panel was sprayed and read: what it says, and what to do."""
