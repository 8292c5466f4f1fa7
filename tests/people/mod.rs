mod password;
